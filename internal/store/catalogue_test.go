package store_test

import (
	"maps"
	"regexp"
	"slices"
	"strings"
	"testing"

	"github.com/jackc/pgx/v5"

	"lintel.example/lintel/internal/store"
	"lintel.example/lintel/internal/store/storetest"
)

// What must hold of every table, also of those that a later migration adds, is read from PostgreSQL's own catalogue.
// River's tables and the ledger of migrations are others' and left out where it says so.

func TestEveryTableOfACustomerStandsBehindTheWalls(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	const tables = `select c.oid, c.relname::text from pg_class c where c.relnamespace = 'public'::regnamespace and c.relkind in ('r', 'p')
		and exists (select from pg_attribute a where a.attrelid = c.oid and a.attname in ('customer_id', 'site_id', 'door_id'))`
	if found := lines(t, db, `select relname from (`+tables+`) x`); len(found) < 27 {
		t.Fatalf("only %v hold rows of customers: the search is broken", found)
	}
	for _, c := range []struct{ what, offenders string }{
		{"no row-level security", `select relname from (` + tables + `) x join pg_class using (oid, relname) where not relrowsecurity`},
		{"row-level security that its owner does not meet", `select relname from (` + tables + `) x join pg_class using (oid, relname) where not relforcerowsecurity`},
		{"no policy for staff", `select relname from (` + tables + `) x where not exists (select from pg_policy p where p.polrelid = x.oid and 'lintel_staff'::regrole = any (p.polroles))`},
	} {
		if found := lines(t, db, c.offenders); len(found) > 0 {
			t.Errorf("%s: %v", c.what, found)
		}
	}
}

// A policy for everybody, or one that lets a row pass where nothing is set, would be a hole in every wall.
func TestEveryPolicyNamesItsRolesAndOutsidersOnlyReadOrAdd(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	if found := lines(t, db, `select format('%s of %s is for everybody', p.polname, p.polrelid::regclass) from pg_policy p where 0 = any (p.polroles)`); len(found) > 0 {
		t.Error(found)
	}
	if found := lines(t, db, `select format('%s of %s', p.polname, p.polrelid::regclass) from pg_policy p
		where p.polroles && array['lintel_customer'::regrole, 'lintel_site'::regrole]::oid[] and p.polcmd not in ('r', 'a')`); len(found) > 0 {
		t.Errorf("outsiders may change rows by %v", found)
	}
	if found := lines(t, db, `select format('%s of %s: %s', p.polname, p.polrelid::regclass, coalesce(pg_get_expr(p.polqual, p.polrelid), pg_get_expr(p.polwithcheck, p.polrelid))) from pg_policy p
		where p.polroles && array['lintel_customer'::regrole, 'lintel_site'::regrole]::oid[]
		and coalesce(pg_get_expr(p.polqual, p.polrelid), pg_get_expr(p.polwithcheck, p.polrelid)) ~* '\mor\M|is null|^true$'`); len(found) > 0 {
		t.Errorf("policies that may fail open: %v", found)
	}
}

func TestNoViewAndNoFunctionActsForItsOwner(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	if found := lines(t, db, `select relname from pg_class where relnamespace = 'public'::regnamespace
		and (relkind = 'm' or relkind = 'v' and not coalesce('security_invoker=true' = any (reloptions), false))`); len(found) > 0 {
		t.Errorf("views that see what their owner sees: %v", found)
	}
	if found := lines(t, db, `select p.oid::regprocedure::text from pg_proc p where p.prosecdef and p.pronamespace = 'public'::regnamespace`); len(found) > 0 {
		t.Errorf("functions that do what their owner may: %v", found)
	}
}

const ours = `c.relnamespace = 'public'::regnamespace and c.relkind in ('r', 'p') and c.relname not like 'river%' and c.relname <> 'schema_migrations'`

func TestEveryTableHasAKeyAndSaysWhatItIs(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	if found := lines(t, db, `select c.relname from pg_class c where `+ours+` and not exists (select from pg_constraint k where k.conrelid = c.oid and k.contype = 'p')`); len(found) > 0 {
		t.Errorf("no primary key: %v", found)
	}
	if found := lines(t, db, `select c.relname from pg_class c where `+ours+` and coalesce(obj_description(c.oid, 'pg_class'), '') = ''`); len(found) > 0 {
		t.Errorf("no comment: %v", found)
	}
}

// The names of constraints are part of the program: faults for people are found by them.
func TestConstraintsAndIndexesAreNamedByTheirTableAndKind(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	named := lines(t, db, `select format('%s %s %s', c.relname, k.contype, k.conname) from pg_class c join pg_constraint k on k.conrelid = c.oid where k.contype <> 'n' and `+ours+`
		union all select format('%s %s %s', c.relname, case when i.indisunique then 'U' else 'i' end, x.relname) from pg_class c join pg_index i on i.indrelid = c.oid join pg_class x on x.oid = i.indexrelid
			where not exists (select from pg_constraint k where k.conindid = x.oid and k.contype in ('p', 'u')) and `+ours)
	if len(named) < 150 {
		t.Fatalf("only %d names found: the search is broken", len(named))
	}
	suffix := map[string]string{"p": "pk", "f": "fk", "u": "key", "U": "key", "c": "check", "i": "idx"}
	for _, line := range named {
		f := strings.Fields(line)
		table, kind, name := f[0], f[1], f[2]
		form := `^` + table + `_[a-z0-9_]+_` + suffix[kind] + `$`
		if kind == "p" {
			form = `^` + table + `_pk$`
		}
		if suffix[kind] == "" || !regexp.MustCompile(form).MatchString(name) {
			t.Errorf("%s of kind %s of %s is not named %s", name, kind, table, form)
		}
	}
}

// undoable are the tables of which staff may delete what an import made while that import is being undone: a restrictive
// policy holds them to it.
const undoable = `select tablename from pg_policies where policyname = 'undo' and permissive = 'RESTRICTIVE' and cmd = 'DELETE' and roles = '{lintel_staff}'`

func TestNobodyDeletesButWhatIsNoRecord(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	got := lines(t, db, `select format('%s %s', substr(r.rolname, 8), c.relname) from pg_class c cross join pg_roles r
		where c.relnamespace = 'public'::regnamespace and c.relkind in ('r', 'p') and r.rolname like 'lintel\_%' and r.rolname <> 'lintel_owner'
		and has_table_privilege(r.oid, c.oid, 'delete, truncate, trigger, references') and not (r.rolname = 'lintel_staff' and c.relname in (`+undoable+`))`)
	want := []string{
		"gate kept_answer",                         // forgotten after a day or two
		"gate person_customer", "gate person_site", // a scope is a set, and each change of it is in the audit
		"gate sign_in_failure",                                                               // forgotten when a sign-in succeeds
		"jobs river_job", "jobs river_leader", "jobs river_notification", "jobs river_queue", // a queue is worked off
		"staff webhook_attempt", "staff webhook_delivery", "staff webhook_event", // forgotten after 90 days; a restrictive policy holds to it
	}
	if !slices.Equal(got, want) {
		t.Errorf("may delete:\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
	if found := lines(t, db, `select format('%s on %s', a.privilege_type, c.relname) from pg_class c, aclexplode(c.relacl) a where c.relnamespace = 'public'::regnamespace
		and (a.grantee = 0 or a.is_grantable and a.grantee <> c.relowner)`); len(found) > 0 {
		t.Errorf("rights for everybody, or to be given on: %v", found)
	}
	if found := lines(t, db, `select defaclacl::text from pg_default_acl`); len(found) > 0 {
		t.Errorf("rights on tables that are still to come: %v", found)
	}
}

func TestWhatIsInsertOnlyIsChangedByNobody(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	insertOnly := []string{"visit_entry", "job_line", "plan_suspension_event", "visit_sign_off", "photo", "entry_photo", "record_log", "report", "report_site", "report_delivery", "watch_event", "calendar_feed_end", "letter_template", "letter_template_approval", "ladder", "letter_attempt", "letter_notice", "letter_bounce", "letter_acknowledgement", "case_acknowledgement", "door_version", "door_leaf", "kept_clear_zone",
		"component", "component_version", "revision", "revision_accessory", "extent", "sealed_code", "work_order_event", "audit_event", "qualification", "qualification_end", "change_log", "import_item", "device_model", "antenna", "accessory", "catalogue_correction", "backup_run", "shown_text", "force_series", "company_pack", "company_pack_activation", "instrument"}
	for _, table := range insertOnly {
		if found := lines(t, db, `select r.rolname from pg_roles r where r.rolname like 'lintel\_%' and r.rolname <> 'lintel_owner'
			and (has_any_column_privilege(r.oid, $1::text::regclass, 'update')
				or has_table_privilege(r.oid, $1::text::regclass, 'delete') and not (r.rolname = 'lintel_staff' and $1 in (`+undoable+`)))`, table); len(found) > 0 {
			t.Errorf("%s is changed by %v", table, found)
		}
	}
	for _, table := range lines(t, db, `select c.relname from pg_class c where `+ours+` and obj_description(c.oid, 'pg_class') ilike '%insert only%'`) {
		if !slices.Contains(insertOnly, table) {
			t.Errorf("%s says that it is insert only, and nothing here holds it to that", table)
		}
	}
}

func TestSecretsOfPeopleAreReadByTheGateAlone(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	got := lines(t, db, `select distinct format('%s reads %s', substr(r.rolname, 8), c.relname) from pg_class c cross join pg_roles r join pg_attribute a on a.attrelid = c.oid and a.attnum > 0
		where r.rolname like 'lintel\_%' and r.rolname <> 'lintel_owner' and (c.relname in ('session', 'token', 'sign_in_failure') or c.relname = 'person' and a.attname = 'password_hash')
		and has_column_privilege(r.oid, c.oid, a.attnum, 'select')`)
	if want := []string{"gate reads person", "gate reads session", "gate reads sign_in_failure", "gate reads token"}; !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
	got = lines(t, db, `select format('%s %s', substr(r.rolname, 8), a.attname) from pg_roles r join pg_attribute a on a.attrelid = 'person'::regclass and a.attnum > 0
		where r.rolname in ('lintel_customer', 'lintel_site', 'lintel_jobs') and has_column_privilege(r.oid, a.attrelid, a.attnum, 'select')`)
	if want := []string{"customer name", "customer person_id", "site name", "site person_id"}; !slices.Equal(got, want) {
		t.Errorf("of people outsiders read %v, want %v", got, want)
	}
}

func TestLoginRoleMayLookAtTheVersionOfTheSchemaAndNothingElse(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	got := lines(t, db, `
		select format('%s on %s', p, c.relname) from pg_class c cross join unnest(array['select', 'insert', 'update', 'delete', 'truncate', 'references', 'trigger']) p
			where c.relnamespace = 'public'::regnamespace and c.relkind in ('r', 'p', 'v', 'm', 'f') and has_table_privilege('lintel_app', c.oid, p)
		union all select format('%s on columns of %s', p, c.relname) from pg_class c cross join unnest(array['select', 'insert', 'update', 'references']) p
			where c.relnamespace = 'public'::regnamespace and c.relkind in ('r', 'p', 'v', 'm', 'f') and has_any_column_privilege('lintel_app', c.oid, p) and not has_table_privilege('lintel_app', c.oid, p)
		union all select format('%s on %s', p, c.relname) from pg_class c cross join unnest(array['select', 'usage', 'update']) p
			where c.relnamespace = 'public'::regnamespace and c.relkind = 'S' and has_sequence_privilege('lintel_app', c.oid, p)
		union all select format('%s on schema %s', p, n.nspname) from pg_namespace n cross join unnest(array['usage', 'create']) p
			where n.nspname !~ '^(pg_|information_schema$)' and has_schema_privilege('lintel_app', n.oid, p)
		union all select format('%s on the database', p) from unnest(array['connect', 'create', 'temporary']) p where has_database_privilege('lintel_app', current_database(), p)`)
	want := []string{"connect on the database", "select on schema_migrations", "usage on schema public"}
	if !slices.Equal(got, want) {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

// Every constraint either has a fault for people or stands here with the reason why no caller ever meets it.
func TestEveryConstraintHasAFaultOrAReasonWhyNoCallerBreaksIt(t *testing.T) {
	t.Parallel()
	db := storetest.New(t)
	told := slices.Collect(maps.Keys(store.FaultOf()))
	reasons := map[string]string{} // constraint → why
	for why, names := range unbroken() {
		for _, name := range strings.Fields(names) {
			if first, twice := reasons[name]; twice {
				t.Errorf("%s stands under %q and %q", name, first, why)
			}
			reasons[name] = why
		}
	}
	known := map[string]bool{}
	for _, name := range lines(t, db, `select k.conname from pg_constraint k join pg_class c on c.oid = k.conrelid where k.contype <> 'n' and `+ours+`
		union select x.relname from pg_class c join pg_index i on i.indrelid = c.oid join pg_class x on x.oid = i.indexrelid where i.indisunique and `+ours+`
		union select conname from pg_constraint where contypid <> 0 and connamespace = 'public'::regnamespace`) {
		known[name] = true
		switch has, why := slices.Contains(told, name), reasons[name]; {
		case has && why != "":
			t.Errorf("%s has a fault and yet %s", name, why)
		case !has && why == "":
			t.Errorf("%s has neither a fault in store.faultOf nor a reason here why no caller breaks it", name)
		}
	}
	for _, name := range append(told, slices.Collect(maps.Keys(reasons))...) {
		if !known[name] {
			t.Errorf("%s is no constraint of the schema", name)
		}
	}
}

// unbroken gives, by the reason why no caller breaks them, the constraints that have no fault of their own.
func unbroken() map[string]string {
	return map[string]string{
		"an id that is taken makes the insert do nothing (on conflict)": `
			person_pk qualification_pk qualification_end_pk device_model_pk accessory_pk customer_pk party_pk site_pk site_id_key site_party_pk site_party_id_key
			door_pk door_id_key component_pk component_id_key revision_pk revision_id_key inspection_plan_pk inspection_plan_id_key
			work_order_pk work_order_id_key work_order_period_key working_terms_pk visiting_hours_pk closed_day_pk work_order_hold_pk work_order_hold_id_key route_plan_pk visit_pk visit_id_key visit_entry_pk visit_entry_id_key
			visit_sign_off_pk visit_sign_off_id_key oddity_pk oddity_id_key photo_pk report_pk report_site_pk report_delivery_pk extent_pk coverage_pk notice_told_key job_run_pk
			watch_pk watch_event_pk ladder_pk letter_template_pk letter_template_version_key letter_template_approval_pk company_pack_pk company_pack_activation_pk recomputation_pk recomputation_program_key catalogue_correction_pk instrument_pk letter_digest_key letter_bounce_pk case_acknowledgement_pk letter_acknowledgement_pk declined_address_pk refused_address_pk letter_attempt_pk
			ladder_look_pk work_order_taken_pk job_line_pk calendar_feed_pk calendar_feed_end_pk webhook_pk webhook_delivery_pk finding_pk finding_id_key expected_crossing_pk kept_answer_pk out_of_service_case_pk out_of_service_case_id_key shown_text_pk force_series_pk`,
		"the program makes the id itself": `
			import_run_pk webhook_event_pk webhook_attempt_pk plan_suspension_event_pk plan_suspension_event_id_key
			door_version_pk door_version_id_key component_version_pk component_version_id_key change_log_pk audit_event_pk sealed_code_pk
			calendar_feed_secret_key session_pk session_id_key token_pk token_id_key sign_in_failure_pk notice_pk notice_id_key record_log_pk letter_pk letter_notice_pk backup_run_pk work_order_event_pk work_order_event_id_key`,
		"the program numbers the rows below their parent, or takes each once": `
			door_leaf_pk kept_clear_zone_pk revision_accessory_pk entry_photo_pk antenna_model_key antenna_name_key person_customer_pk person_site_pk
			import_item_pk
			record_log_subject_key`,
		"use-cases refuse such a value first, by its member": `
			person_email_check person_name_check person_role_check person_scope_check person_auditor_check person_units_check qualification_dates_check qualification_kind_check token_scopes_check
			device_model_kind_check device_model_sensing_check device_model_senses_check device_model_steps_check antenna_beam_check antenna_limit_check antenna_range_check antenna_tolerance_check accessory_kind_check
			customer_name_check party_name_check site_name_check site_position_check site_party_role_check site_party_days_check
			door_name_check door_tag_check door_version_kind_check door_version_energy_check door_version_traffic_check door_version_presence_check
			door_version_activation_check door_version_rule_basis_check door_version_rails_check door_version_clear_width_check door_version_header_depth_check
			door_version_opening_time_check door_version_closing_time_check door_leaf_motion_check door_leaf_hinge_check door_leaf_opens_check
			door_leaf_width_check door_leaf_height_check door_leaf_mass_check door_leaf_no_check kept_clear_zone_rectangle_check
			company_pack_activation_name_check company_pack_activation_days_check instrument_kind_check instrument_days_check component_kind_check component_model_check component_version_state_check component_version_side_check component_version_input_check component_version_contact_check
			revision_standing_check revision_direction_check revision_contact_check revision_height_check revision_offset_x_check revision_offset_y_check
			revision_tilt_check revision_yaw_check revision_reach_check revision_travel_check revision_hold_check revision_fitted_check basis_check
			inspection_plan_interval_check inspection_plan_purpose_check inspection_plan_regime_check inspection_plan_days_check inspection_plan_month_check inspection_plan_grace_check plan_suspension_event_kind_check plan_suspension_event_reason_check work_order_kind_check visit_entry_kind_check
			work_order_priority_check work_order_billing_check work_order_accident_check photo_media_type_check photo_size_check letter_template_kind_check report_delivery_way_check working_terms_minutes_check visiting_hours_minutes_check closed_day_where_check closed_day_days_check work_order_hold_minutes_check watch_event_kind_check`,
		"the program writes these values, nobody sends them": `
			calendar_feed_secret_check calendar_feed_subject_check webhook_state_check webhook_former_check webhook_delivery_state_check oddity_kind_check oddity_counts_check oddity_state_check oddity_explained_check import_run_sha256_check import_run_undone_check import_item_kind_check import_item_before_check
			recomputation_why_check recomputation_counts_check catalogue_correction_subject_check catalogue_correction_figures_check session_secret_check token_secret_check kept_answer_key_check kept_clear_zone_side_check extent_computable_check coverage_side_check coverage_share_check expected_crossing_side_check expected_crossing_order_check
			sealed_code_kind_check work_order_plan_check work_order_event_kind_check work_order_state_check work_order_done_check job_run_state_check visit_attendance_check
			visit_entry_sha256_check visit_sign_off_sha256_check photo_sha256_check finding_origin_check finding_severity_check finding_state_check
			out_of_service_case_state_check notice_told_state_check letter_kind_check letter_state_check letter_attempt_outcome_check
			route_plan_state_check letter_bounce_sha256_check letter_bounce_action_check report_sha256_check report_kind_check report_prints_check record_log_kind_check record_log_sha256_check
			company_pack_sha256_check backup_run_outcome_check backup_run_times_check backup_run_size_check shown_text_sha256_check force_series_sha256_check letter_template_version_check`,
		"what the door already has is looked at under the door's lock": `
			work_order_open_key work_order_origin_key finding_computed_key out_of_service_case_finding_key`,
		"the row above is read in the same transaction, and nobody can delete it": `
			webhook_delivery_webhook_fk webhook_delivery_event_fk webhook_attempt_delivery_fk import_item_run_fk company_pack_activation_pack_fk letter_template_approval_template_fk
			report_portfolio_customer_fk report_site_report_fk qualification_person_fk qualification_end_qualification_fk kept_answer_person_fk session_person_fk token_person_fk person_customer_person_fk person_site_person_fk antenna_model_fk catalogue_correction_model_fk catalogue_correction_accessory_fk
			calendar_feed_person_fk calendar_feed_end_feed_fk watch_person_fk watch_visit_fk watch_event_watch_fk letter_attempt_letter_fk letter_notice_letter_fk letter_notice_notice_fk letter_bounce_letter_fk refused_address_letter_fk letter_acknowledgement_letter_fk declined_address_letter_fk letter_report_fk report_delivery_report_fk working_terms_person_fk ladder_customer_fk ladder_look_work_order_fk work_order_taken_work_order_fk work_order_taken_person_fk`,
		"the row above is read in the same transaction, and when its site changes hands in between the transaction is run again": `
			calendar_feed_site_fk site_party_site_fk door_site_fk door_version_door_fk door_leaf_version_fk kept_clear_zone_version_fk component_door_fk expected_crossing_door_fk component_version_component_fk
			revision_component_fk revision_accessory_revision_fk extent_revision_fk coverage_door_fk sealed_code_site_fk inspection_plan_door_fk plan_suspension_event_plan_fk
			work_order_door_fk work_order_plan_fk work_order_event_order_fk visit_site_fk visit_entry_door_fk visit_entry_visit_fk visit_sign_off_visit_fk oddity_visit_fk entry_photo_entry_fk
			finding_door_fk shown_text_door_fk force_series_door_fk out_of_service_case_finding_fk notice_site_fk case_acknowledgement_case_fk report_door_fk report_site_fk report_site_site_fk report_delivery_site_fk visiting_hours_site_fk closed_day_site_fk work_order_hold_order_fk`,
	}
}

// lines runs a query that gives one column of text, in the order of the texts, with a superuser's eyes.
func lines(t testing.TB, db storetest.DB, sql string, args ...any) []string {
	t.Helper()
	rows, _ := db.Admin.Query(t.Context(), sql, args...)
	list, err := pgx.CollectRows(rows, pgx.RowTo[string])
	if err != nil {
		t.Fatalf("%s: %v", sql, err)
	}
	slices.Sort(list)
	return list
}

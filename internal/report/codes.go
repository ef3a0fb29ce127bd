package report

import (
	"slices"
	"strings"

	"lintel.example/lintel/internal/fleet"
)

// codes are the codes of the register that have a text report.<kind>.<code>.
func codes(kind string) []string {
	switch kind {
	case "state":
		return fleet.StateOrder()
	case "basis":
		return []string{"measured", "seen_on_site", "told", "from_paper", "assumed"}
	case "kind":
		return []string{"sliding", "swinging", "folding", "revolving"}
	case "allows":
		return []string{"general", "full_energy", "low_energy", "revolving", "european", "fire"}
	case "energy":
		return []string{"full", "low", "assist", "unknown"}
	case "traffic":
		return []string{"one_way_in", "one_way_out", "two_way", "unknown"}
	case "presence_by":
		return []string{"overhead_sensor", "beams", "both", "none", "unknown"}
	case "guide_rails":
		return []string{"fitted", "walls", "none", "unknown"}
	case "mode":
		return []string{"day", "exit_only", "night_locked", "held_open", "emergency"}
	case "activation":
		return []string{"sensor", "knowing_act", "both", "none", "unknown"}
	case "motion":
		return []string{"swing", "slide", "fold", "revolve"}
	case "hinge":
		return []string{"left", "right", "unknown"}
	case "opens_towards":
		return []string{"a", "b", "both", "left", "right", "unknown"}
	case "component":
		return []string{"operator", "control", "power_supply", "battery", "mode_selector", "lock", "sensor", "activation", "safety_device", "leaf_hardware"}
	case "party":
		return []string{"owner", "occupier", "managing_agent", "payer", "named_person"}
	case "purpose":
		return []string{"activation", "presence"}
	case "outcome":
		return []string{"passed", "failed", "undecided", "not_judged", "not_applicable"}
	case "severity":
		return []string{"unsafe", "deficient", "advisory"}
	case "standing":
		return []string{"found", "second_hand", "common_practice", "from_memory"}
	case "settings":
		return []string{"intended", "found", "left"}
	case "direction":
		return []string{"approach", "departure", "either", "unknown"}
	case "contact":
		return []string{"normally_open", "normally_closed", "unknown"}
	case "result":
		return []string{"passed", "failed"}
	case "work":
		return []string{"inspection", "service", "repair", "call_out", "accident", "handover"}
	case "work_state":
		return []string{"open", "done", "cancelled"}
	case "secured":
		return []string{"operator_off", "locked_open", "barriered", "locked"}
	case "answer":
		return []string{"acknowledged", "refused"}
	case "caution":
		return []string{"limits_from_memory", "register_only", "presence_device_missing", "settings_intended_only", "values_unknown", "judged_by_todays_knowledge"}
	case "missing":
		return []string{"height_m", "tilt_deg", "yaw_deg", "offset_x_m", "offset_y_m", "antenna", "reach_db", "header_depth_m", "clear_width_m", "opening_time_s", "closing_time_s", "leaf_width_m", "sensing", "settings", "accessory_effect"}
	case "overtaken":
		return []string{"read_again", "not_read_again"}
	case "left_out_reason":
		return []string{"not_applicable", "not_possible", "refused", "unsafe_to_try"}
	case "finding_state":
		return []string{"open", "mended", "withdrawn", "cleared"}
	case "register":
		return []string{"door_kind", "energy", "activation", "leaf_count", "egress", "fire_rated", "interior", "mode", "inspector_certified", "traffic", "activation_a", "activation_b", "presence_by", "clear_width_m", "opening_time_s", "closing_time_s", "egress_breakout", "vulnerable_users", "leaves", "leaf_width_m", "leaf_height_m", "leaf_mass_kg"}
	}
	return nil
}

// code is the text of a code. A code that a later register added is printed as
// it stands, with spaces: better a plain word than none.
func code(t Texts, kind, c string) string {
	switch {
	case c == "":
		return t.T("report.not_recorded")
	case slices.Contains(codes(kind), c):
		return t.T("report." + kind + "." + c)
	default:
		return strings.ReplaceAll(c, "_", " ")
	}
}

func codeList(t Texts, kind string, cs []string) string {
	var out []string
	for _, c := range cs {
		out = append(out, code(t, kind, c))
	}
	return strings.Join(out, ", ")
}

// missingNames names the values that are unknown.
func missingNames(t Texts, names []string) string {
	if len(names) == 0 {
		return t.T("report.not_recorded")
	}
	kinds := make([]string, len(names))
	for i, name := range names {
		kinds[i], _, _ = strings.Cut(name, ":") // which device it is of stands beside it
	}
	return codeList(t, "missing", slices.Compact(kinds))
}

// factName names something that the register says, as expressions name it.
func factName(t Texts, name string) string {
	return code(t, "register", strings.Replace(name, "leaves[].", "leaf_", 1))
}

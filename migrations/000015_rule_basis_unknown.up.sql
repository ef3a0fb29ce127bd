-- Nobody may have recorded yet which edition a door must meet: then it has no day since when either. Takes a short lock
-- and reads no row.
alter table door_version alter column rule_since drop not null;
alter table door_version add constraint door_version_rule_basis_check
  check ((rule_pack = '') = (rule_since is null) and (rule_pack = '') = (rule_why = '')) not valid;

alter table door_version drop constraint door_version_rule_basis_check;
update door_version set rule_since = '1900-01-01', rule_why = 'not recorded' where rule_since is null;
alter table door_version alter column rule_since set not null;

drop table change_log, kept_clear_zone, door_leaf, door_version, door;
drop sequence door_number;
drop table person_site, person_customer, site_party, site, party, customer;

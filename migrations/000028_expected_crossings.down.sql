drop table expected_crossing;

drop table ladder_look;

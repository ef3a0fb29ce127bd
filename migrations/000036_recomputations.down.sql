drop table recomputation;

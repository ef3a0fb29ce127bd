drop table company_pack_activation, company_pack;

alter table letter_template_approval drop column read_by;
alter table letter drop constraint letter_report_fk, drop column report_id;
drop table report_delivery;

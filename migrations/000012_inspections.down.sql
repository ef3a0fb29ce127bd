drop table out_of_service_case, finding, entry_photo, photo, visit_sign_off, visit_entry, visit, job_run, work_order, inspection_plan;

-- In which steps a model is set at the device, and which labels of them were read where settings were found or left.
alter table device_model add column steps jsonb;
alter table device_model add constraint device_model_steps_check check (steps is null or (sensing <> 'none' and jsonb_typeof(steps) = 'object' and coalesce(jsonb_typeof(steps -> 'scales'), '') = 'array'));
comment on column device_model.steps is 'Scales of the model''s own steps by setting, how it is reset and addressed; null: not known.';

alter table revision add column steps jsonb;
comment on column revision.steps is 'Labels read at the device, by setting; the setting''s own column has the value of the step.';

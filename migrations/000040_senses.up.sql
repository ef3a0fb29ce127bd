-- How a model senses that is no radar, so that the side's coverage counts it; and which of the devices wired for a zone do not count.
alter table device_model add column senses jsonb;
alter table device_model add constraint device_model_senses_check check (senses is null or (sensing not in ('none', 'radar') and jsonb_typeof(senses) = 'object'
  and coalesce(senses ->> 'purpose', '') in ('activation', 'presence', 'both', 'knowing_act') and (senses ->> 'purpose' = 'knowing_act') = (sensing = 'knowing_act')));
comment on column device_model.senses is 'Physical members by sensing, with purpose and time-outs; null: not known, and nothing is computed of its field.';

alter table coverage add column unfit text[] not null default '{}';
comment on column coverage.unfit is 'Components wired for the zone that do not count: they tell something else, or let go of somebody who stands too soon.';

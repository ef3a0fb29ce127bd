create unique index concurrently extent_corrected_key on extent (customer_id, site_id, door_id, component_id, revision_id, door_version_id, model_version, corrections);

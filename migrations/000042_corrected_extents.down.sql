drop index concurrently if exists extent_corrected_key;

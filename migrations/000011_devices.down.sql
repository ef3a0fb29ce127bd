drop table sealed_code, coverage, extent, revision_accessory, revision, component_version, component;

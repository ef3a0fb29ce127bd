drop table accessory, antenna, device_model;
drop domain basis;

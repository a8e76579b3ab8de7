DROP TRIGGER school_pack_used;
DROP TRIGGER school_pack_use_changed;
DROP TRIGGER school_pack_written;

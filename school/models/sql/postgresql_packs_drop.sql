DROP TRIGGER school_pack_used ON school_packuse;
DROP TRIGGER school_pack_written ON school_lessonpack;
DROP FUNCTION school_pack_written();
DROP FUNCTION school_pack_used();
DROP FUNCTION school_check_pack(bigint);

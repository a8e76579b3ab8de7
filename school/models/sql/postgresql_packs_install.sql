CREATE FUNCTION school_check_pack(its bigint) RETURNS void AS $$
DECLARE
    most integer;
BEGIN
    -- The lock makes two who use the last lesson of a pack wait for each other.
    SELECT lessons INTO most FROM school_lessonpack WHERE id = its
        FOR NO KEY UPDATE;
    IF (SELECT count(*) FROM school_packuse WHERE pack_id = its) > most THEN
        PERFORM school_refuse('pack_not_overspent', 'the pack is used up');
    END IF;
END $$ LANGUAGE plpgsql;

CREATE FUNCTION school_pack_used() RETURNS trigger AS $$
BEGIN
    PERFORM school_check_pack(NEW.pack_id);
    RETURN NULL;
END $$ LANGUAGE plpgsql;

CREATE FUNCTION school_pack_written() RETURNS trigger AS $$
BEGIN
    PERFORM school_check_pack(NEW.id);
    RETURN NULL;
END $$ LANGUAGE plpgsql;

CREATE TRIGGER school_pack_used AFTER INSERT OR UPDATE ON school_packuse
    FOR EACH ROW EXECUTE FUNCTION school_pack_used();
CREATE TRIGGER school_pack_written AFTER UPDATE ON school_lessonpack
    FOR EACH ROW EXECUTE FUNCTION school_pack_written();

CREATE FUNCTION school_absence_written() RETURNS trigger AS $$
BEGIN
    DELETE FROM school_occupancy WHERE source = 'absence' AND source_id = NEW.id;
    INSERT INTO school_occupancy
        (what, which, taken_from, taken_to, source, source_id)
    VALUES ('person', NEW.instructor_id, NEW.absent_from, NEW.absent_to,
            'absence', NEW.id);
    RETURN NULL;
END $$ LANGUAGE plpgsql;

CREATE FUNCTION school_absence_deleted() RETURNS trigger AS $$
BEGIN
    DELETE FROM school_occupancy WHERE source = 'absence' AND source_id = OLD.id;
    RETURN NULL;
END $$ LANGUAGE plpgsql;

CREATE TRIGGER school_absence_written
    AFTER INSERT OR UPDATE ON school_instructorabsence
    FOR EACH ROW EXECUTE FUNCTION school_absence_written();
CREATE TRIGGER school_absence_deleted AFTER DELETE ON school_instructorabsence
    FOR EACH ROW EXECUTE FUNCTION school_absence_deleted();

CREATE TRIGGER school_absence_inserted AFTER INSERT ON school_instructorabsence
BEGIN
    DELETE FROM school_occupancy WHERE source = 'absence' AND source_id = NEW.id;
    INSERT INTO school_occupancy
        (what, which, taken_from, taken_to, source, source_id)
        VALUES ('person', NEW.instructor_id, NEW.absent_from, NEW.absent_to,
            'absence', NEW.id);
END;

CREATE TRIGGER school_absence_updated AFTER UPDATE ON school_instructorabsence
BEGIN
    DELETE FROM school_occupancy WHERE source = 'absence' AND source_id = NEW.id;
    INSERT INTO school_occupancy
        (what, which, taken_from, taken_to, source, source_id)
        VALUES ('person', NEW.instructor_id, NEW.absent_from, NEW.absent_to,
            'absence', NEW.id);
END;

CREATE TRIGGER school_absence_deleted AFTER DELETE ON school_instructorabsence
BEGIN
    DELETE FROM school_occupancy WHERE source = 'absence' AND source_id = OLD.id;
END;

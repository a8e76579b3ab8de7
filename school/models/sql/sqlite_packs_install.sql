CREATE TRIGGER school_pack_used AFTER INSERT ON school_packuse
WHEN (SELECT count(*) FROM school_packuse WHERE pack_id = NEW.pack_id)
    > (SELECT lessons FROM school_lessonpack WHERE id = NEW.pack_id)
BEGIN
    SELECT RAISE(ABORT, 'pack_not_overspent');
END;

CREATE TRIGGER school_pack_use_changed AFTER UPDATE ON school_packuse
WHEN (SELECT count(*) FROM school_packuse WHERE pack_id = NEW.pack_id)
    > (SELECT lessons FROM school_lessonpack WHERE id = NEW.pack_id)
BEGIN
    SELECT RAISE(ABORT, 'pack_not_overspent');
END;

CREATE TRIGGER school_pack_written AFTER UPDATE ON school_lessonpack
WHEN (SELECT count(*) FROM school_packuse WHERE pack_id = NEW.id) > NEW.lessons
BEGIN
    SELECT RAISE(ABORT, 'pack_not_overspent');
END;

DROP TRIGGER school_absence_inserted;
DROP TRIGGER school_absence_updated;
DROP TRIGGER school_absence_deleted;

DROP TRIGGER school_absence_written ON school_instructorabsence;
DROP TRIGGER school_absence_deleted ON school_instructorabsence;
DROP FUNCTION school_absence_deleted();
DROP FUNCTION school_absence_written();

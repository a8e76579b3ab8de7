DROP TRIGGER school_term_no_two_at_once;
DROP TRIGGER school_term_no_two_at_once_changed;
DROP TRIGGER school_term_written;
DROP TRIGGER school_break_inserted;
DROP TRIGGER school_break_updated;

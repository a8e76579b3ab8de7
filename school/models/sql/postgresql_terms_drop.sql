DROP TRIGGER school_term_written ON school_term;
DROP TRIGGER school_break_written ON school_termbreak;
DROP FUNCTION school_term_written();
DROP FUNCTION school_break_written();
DROP FUNCTION school_check_breaks(bigint);
ALTER TABLE school_term DROP CONSTRAINT term_no_two_at_once;

CREATE TRIGGER school_term_no_two_at_once BEFORE INSERT ON school_term
WHEN EXISTS (
    SELECT 1 FROM school_term o
    WHERE o.first_date <= NEW.last_date AND NEW.first_date <= o.last_date
)
BEGIN
    SELECT RAISE(ABORT, 'term_no_two_at_once');
END;

CREATE TRIGGER school_term_no_two_at_once_changed BEFORE UPDATE ON school_term
WHEN EXISTS (
    SELECT 1 FROM school_term o WHERE o.id <> OLD.id
    AND o.first_date <= NEW.last_date AND NEW.first_date <= o.last_date
)
BEGIN
    SELECT RAISE(ABORT, 'term_no_two_at_once');
END;

CREATE TRIGGER school_term_written AFTER UPDATE ON school_term
WHEN EXISTS (
    SELECT 1 FROM school_termbreak b WHERE b.term_id = NEW.id
    AND (b.first_date < NEW.first_date OR b.last_date > NEW.last_date)
)
BEGIN
    SELECT RAISE(ABORT, 'term_break_within_its_term');
END;

CREATE TRIGGER school_break_inserted AFTER INSERT ON school_termbreak
WHEN EXISTS (
    SELECT 1 FROM school_term t WHERE t.id = NEW.term_id
    AND (NEW.first_date < t.first_date OR NEW.last_date > t.last_date)
)
BEGIN
    SELECT RAISE(ABORT, 'term_break_within_its_term');
END;

CREATE TRIGGER school_break_updated AFTER UPDATE ON school_termbreak
WHEN EXISTS (
    SELECT 1 FROM school_term t WHERE t.id = NEW.term_id
    AND (NEW.first_date < t.first_date OR NEW.last_date > t.last_date)
)
BEGIN
    SELECT RAISE(ABORT, 'term_break_within_its_term');
END;

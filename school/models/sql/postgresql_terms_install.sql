ALTER TABLE school_term ADD CONSTRAINT term_no_two_at_once
    EXCLUDE USING gist (daterange(first_date, last_date, '[]') WITH &&);

CREATE FUNCTION school_check_breaks(its bigint) RETURNS void AS $$
BEGIN
    IF EXISTS (
        SELECT 1 FROM school_termbreak b JOIN school_term t ON t.id = b.term_id
        WHERE t.id = its
        AND (b.first_date < t.first_date OR b.last_date > t.last_date)
    ) THEN
        PERFORM school_refuse('term_break_within_its_term', 'a break lies outside');
    END IF;
END $$ LANGUAGE plpgsql;

CREATE FUNCTION school_break_written() RETURNS trigger AS $$
BEGIN
    PERFORM school_check_breaks(NEW.term_id);
    RETURN NULL;
END $$ LANGUAGE plpgsql;

CREATE FUNCTION school_term_written() RETURNS trigger AS $$
BEGIN
    PERFORM school_check_breaks(NEW.id);
    RETURN NULL;
END $$ LANGUAGE plpgsql;

CREATE TRIGGER school_break_written AFTER INSERT OR UPDATE ON school_termbreak
    FOR EACH ROW EXECUTE FUNCTION school_break_written();
CREATE TRIGGER school_term_written AFTER UPDATE ON school_term
    FOR EACH ROW EXECUTE FUNCTION school_term_written();

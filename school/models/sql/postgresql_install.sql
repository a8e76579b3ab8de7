CREATE EXTENSION IF NOT EXISTS btree_gist;

ALTER TABLE school_occupancy ADD CONSTRAINT occupancy_no_two_at_once
    EXCLUDE USING gist (
        what WITH =,
        which WITH =,
        tstzrange(taken_from, taken_to) WITH &&
    );

CREATE FUNCTION school_refuse(rule text, says text) RETURNS void AS $$
BEGIN
    RAISE EXCEPTION '%: %', rule, says
        USING ERRCODE = 'check_violation', CONSTRAINT = rule;
END $$ LANGUAGE plpgsql;

CREATE FUNCTION school_hold_ride(ride school_ride, lesson school_lesson)
RETURNS void AS $$
BEGIN
    IF ride.state <> 'booked' OR lesson.state NOT IN
        ('booked', 'confirmed', 'running', 'done') THEN
        RETURN;
    END IF;
    INSERT INTO school_occupancy
        (what, which, taken_from, taken_to, source, source_id, lesson_id)
    VALUES ('person', ride.rider_id, lesson.starts_at, lesson.ends_at,
            'ride', ride.id, lesson.id);
    IF ride.horse_id IS NOT NULL THEN
        IF EXISTS (SELECT 1 FROM school_horse h WHERE h.id = ride.horse_id
                   AND h.bookable_from_date >
                       (lesson.starts_at AT TIME ZONE 'UTC')::date) THEN
            PERFORM school_refuse('ride_horse_old_enough',
                                  'the horse is under the least age');
        END IF;
        INSERT INTO school_occupancy
            (what, which, taken_from, taken_to, source, source_id, lesson_id)
        VALUES ('horse', ride.horse_id, lesson.starts_at, lesson.ends_at,
                'ride', ride.id, lesson.id);
    END IF;
END $$ LANGUAGE plpgsql;

CREATE FUNCTION school_check_places(lesson school_lesson) RETURNS void AS $$
BEGIN
    IF (SELECT count(*) FROM school_ride
        WHERE lesson_id = lesson.id AND state = 'booked') > lesson.places THEN
        PERFORM school_refuse('lesson_places_not_exceeded', 'the lesson is full');
    END IF;
END $$ LANGUAGE plpgsql;

CREATE FUNCTION school_lesson_written() RETURNS trigger AS $$
DECLARE
    one school_ride;
BEGIN
    DELETE FROM school_occupancy WHERE lesson_id = NEW.id;
    IF NEW.state IN ('booked', 'confirmed', 'running', 'done') THEN
        INSERT INTO school_occupancy
            (what, which, taken_from, taken_to, source, source_id, lesson_id)
        VALUES
            ('arena', NEW.arena_id, NEW.starts_at, NEW.ends_at,
             'lesson', NEW.id, NEW.id),
            ('person', NEW.instructor_id, NEW.starts_at, NEW.ends_at,
             'lesson', NEW.id, NEW.id);
        FOR one IN SELECT * FROM school_ride WHERE lesson_id = NEW.id LOOP
            PERFORM school_hold_ride(one, NEW);
        END LOOP;
    END IF;
    PERFORM school_check_places(NEW);
    RETURN NULL;
END $$ LANGUAGE plpgsql;

CREATE FUNCTION school_ride_written() RETURNS trigger AS $$
DECLARE
    its school_lesson;
BEGIN
    DELETE FROM school_occupancy WHERE source = 'ride' AND source_id = NEW.id;
    -- The lock makes a ride wait for a move of its lesson, and two riders for
    -- the last place wait for each other.
    SELECT * INTO its FROM school_lesson WHERE id = NEW.lesson_id
        FOR NO KEY UPDATE;
    PERFORM school_hold_ride(NEW, its);
    PERFORM school_check_places(its);
    RETURN NULL;
END $$ LANGUAGE plpgsql;

CREATE FUNCTION school_closure_written() RETURNS trigger AS $$
BEGIN
    DELETE FROM school_occupancy WHERE source = 'closure' AND source_id = NEW.id;
    INSERT INTO school_occupancy
        (what, which, taken_from, taken_to, source, source_id)
    VALUES ('arena', NEW.arena_id, NEW.closed_from, NEW.closed_to,
            'closure', NEW.id);
    RETURN NULL;
END $$ LANGUAGE plpgsql;

CREATE FUNCTION school_state_written() RETURNS trigger AS $$
BEGIN
    DELETE FROM school_occupancy WHERE source = 'state' AND source_id = NEW.id;
    INSERT INTO school_occupancy
        (what, which, taken_from, taken_to, source, source_id)
    VALUES ('horse', NEW.horse_id, NEW.state_from, NEW.state_to,
            'state', NEW.id);
    RETURN NULL;
END $$ LANGUAGE plpgsql;

CREATE FUNCTION school_source_deleted() RETURNS trigger AS $$
BEGIN
    DELETE FROM school_occupancy WHERE source = TG_ARGV[0] AND source_id = OLD.id;
    RETURN NULL;
END $$ LANGUAGE plpgsql;

CREATE FUNCTION school_line_written() RETURNS trigger AS $$
BEGIN
    IF NEW.length_cm > (SELECT length_cm FROM school_arena WHERE id = NEW.arena_id)
    THEN
        PERFORM school_refuse('line_within_its_arena',
                              'the line is longer than its arena');
    END IF;
    RETURN NULL;
END $$ LANGUAGE plpgsql;

CREATE TRIGGER school_lesson_written AFTER INSERT OR UPDATE ON school_lesson
    FOR EACH ROW EXECUTE FUNCTION school_lesson_written();
CREATE TRIGGER school_lesson_deleted AFTER DELETE ON school_lesson
    FOR EACH ROW EXECUTE FUNCTION school_source_deleted('lesson');
CREATE TRIGGER school_ride_written AFTER INSERT OR UPDATE ON school_ride
    FOR EACH ROW EXECUTE FUNCTION school_ride_written();
CREATE TRIGGER school_ride_deleted AFTER DELETE ON school_ride
    FOR EACH ROW EXECUTE FUNCTION school_source_deleted('ride');
CREATE TRIGGER school_closure_written AFTER INSERT OR UPDATE ON school_arenaclosure
    FOR EACH ROW EXECUTE FUNCTION school_closure_written();
CREATE TRIGGER school_closure_deleted AFTER DELETE ON school_arenaclosure
    FOR EACH ROW EXECUTE FUNCTION school_source_deleted('closure');
CREATE TRIGGER school_state_written AFTER INSERT OR UPDATE ON school_horsestate
    FOR EACH ROW EXECUTE FUNCTION school_state_written();
CREATE TRIGGER school_state_deleted AFTER DELETE ON school_horsestate
    FOR EACH ROW EXECUTE FUNCTION school_source_deleted('state');
CREATE TRIGGER school_line_written AFTER INSERT OR UPDATE ON school_line
    FOR EACH ROW EXECUTE FUNCTION school_line_written();

CREATE TRIGGER occupancy_no_two_at_once BEFORE INSERT ON school_occupancy
WHEN EXISTS (
    SELECT 1 FROM school_occupancy o
    WHERE o.what = NEW.what AND o.which = NEW.which
    AND o.taken_from < COALESCE(NEW.taken_to, '9999-12-31')
    AND NEW.taken_from < COALESCE(o.taken_to, '9999-12-31')
)
BEGIN
    SELECT RAISE(ABORT, 'occupancy_no_two_at_once');
END;

CREATE TRIGGER occupancy_no_two_at_once_changed BEFORE UPDATE ON school_occupancy
WHEN EXISTS (
    SELECT 1 FROM school_occupancy o
    WHERE o.id <> OLD.id AND o.what = NEW.what AND o.which = NEW.which
    AND o.taken_from < COALESCE(NEW.taken_to, '9999-12-31')
    AND NEW.taken_from < COALESCE(o.taken_to, '9999-12-31')
)
BEGIN
    SELECT RAISE(ABORT, 'occupancy_no_two_at_once');
END;

CREATE TRIGGER school_lesson_inserted AFTER INSERT ON school_lesson
BEGIN
    DELETE FROM school_occupancy WHERE lesson_id = NEW.id;
    INSERT INTO school_occupancy
        (what, which, taken_from, taken_to, source, source_id, lesson_id)
        SELECT 'arena', NEW.arena_id, NEW.starts_at, NEW.ends_at,
            'lesson', NEW.id, NEW.id
        WHERE NEW.state IN ('booked', 'confirmed', 'running', 'done');
    INSERT INTO school_occupancy
        (what, which, taken_from, taken_to, source, source_id, lesson_id)
        SELECT 'person', NEW.instructor_id, NEW.starts_at, NEW.ends_at,
            'lesson', NEW.id, NEW.id
        WHERE NEW.state IN ('booked', 'confirmed', 'running', 'done');
    SELECT RAISE(ABORT, 'ride_horse_old_enough')
        FROM school_ride r
        JOIN school_lesson l ON l.id = r.lesson_id
        JOIN school_horse h ON h.id = r.horse_id
        WHERE l.id = NEW.id AND r.state = 'booked'
        AND l.state IN ('booked', 'confirmed', 'running', 'done')
        AND h.bookable_from_date > substr(l.starts_at, 1, 10);
    INSERT INTO school_occupancy
        (what, which, taken_from, taken_to, source, source_id, lesson_id)
        SELECT 'person', r.rider_id, l.starts_at, l.ends_at, 'ride', r.id, l.id
        FROM school_ride r JOIN school_lesson l ON l.id = r.lesson_id
        WHERE l.id = NEW.id AND r.state = 'booked'
        AND l.state IN ('booked', 'confirmed', 'running', 'done');
    INSERT INTO school_occupancy
        (what, which, taken_from, taken_to, source, source_id, lesson_id)
        SELECT 'horse', r.horse_id, l.starts_at, l.ends_at, 'ride', r.id, l.id
        FROM school_ride r JOIN school_lesson l ON l.id = r.lesson_id
        WHERE l.id = NEW.id AND r.state = 'booked' AND r.horse_id IS NOT NULL
        AND l.state IN ('booked', 'confirmed', 'running', 'done');
    SELECT RAISE(ABORT, 'lesson_places_not_exceeded')
        FROM school_lesson l WHERE l.id = NEW.id
        AND (SELECT count(*) FROM school_ride
             WHERE lesson_id = l.id AND state = 'booked') > l.places;
END;

CREATE TRIGGER school_ride_inserted AFTER INSERT ON school_ride
BEGIN
    DELETE FROM school_occupancy WHERE source = 'ride' AND source_id = NEW.id;
    SELECT RAISE(ABORT, 'ride_horse_old_enough')
        FROM school_ride r
        JOIN school_lesson l ON l.id = r.lesson_id
        JOIN school_horse h ON h.id = r.horse_id
        WHERE r.id = NEW.id AND r.state = 'booked'
        AND l.state IN ('booked', 'confirmed', 'running', 'done')
        AND h.bookable_from_date > substr(l.starts_at, 1, 10);
    INSERT INTO school_occupancy
        (what, which, taken_from, taken_to, source, source_id, lesson_id)
        SELECT 'person', r.rider_id, l.starts_at, l.ends_at, 'ride', r.id, l.id
        FROM school_ride r JOIN school_lesson l ON l.id = r.lesson_id
        WHERE r.id = NEW.id AND r.state = 'booked'
        AND l.state IN ('booked', 'confirmed', 'running', 'done');
    INSERT INTO school_occupancy
        (what, which, taken_from, taken_to, source, source_id, lesson_id)
        SELECT 'horse', r.horse_id, l.starts_at, l.ends_at, 'ride', r.id, l.id
        FROM school_ride r JOIN school_lesson l ON l.id = r.lesson_id
        WHERE r.id = NEW.id AND r.state = 'booked' AND r.horse_id IS NOT NULL
        AND l.state IN ('booked', 'confirmed', 'running', 'done');
    SELECT RAISE(ABORT, 'lesson_places_not_exceeded')
        FROM school_lesson l WHERE l.id = NEW.lesson_id
        AND (SELECT count(*) FROM school_ride
             WHERE lesson_id = l.id AND state = 'booked') > l.places;
END;

CREATE TRIGGER school_closure_inserted AFTER INSERT ON school_arenaclosure
BEGIN
    DELETE FROM school_occupancy WHERE source = 'closure' AND source_id = NEW.id;
    INSERT INTO school_occupancy
        (what, which, taken_from, taken_to, source, source_id)
        VALUES ('arena', NEW.arena_id, NEW.closed_from, NEW.closed_to,
            'closure', NEW.id);
END;

CREATE TRIGGER school_state_inserted AFTER INSERT ON school_horsestate
BEGIN
    DELETE FROM school_occupancy WHERE source = 'state' AND source_id = NEW.id;
    INSERT INTO school_occupancy
        (what, which, taken_from, taken_to, source, source_id)
        VALUES ('horse', NEW.horse_id, NEW.state_from, NEW.state_to,
            'state', NEW.id);
END;

CREATE TRIGGER school_line_inserted AFTER INSERT ON school_line
WHEN NEW.length_cm > (SELECT length_cm FROM school_arena WHERE id = NEW.arena_id)
BEGIN
    SELECT RAISE(ABORT, 'line_within_its_arena');
END;

CREATE TRIGGER school_lesson_updated AFTER UPDATE ON school_lesson
BEGIN
    DELETE FROM school_occupancy WHERE lesson_id = NEW.id;
    INSERT INTO school_occupancy
        (what, which, taken_from, taken_to, source, source_id, lesson_id)
        SELECT 'arena', NEW.arena_id, NEW.starts_at, NEW.ends_at,
            'lesson', NEW.id, NEW.id
        WHERE NEW.state IN ('booked', 'confirmed', 'running', 'done');
    INSERT INTO school_occupancy
        (what, which, taken_from, taken_to, source, source_id, lesson_id)
        SELECT 'person', NEW.instructor_id, NEW.starts_at, NEW.ends_at,
            'lesson', NEW.id, NEW.id
        WHERE NEW.state IN ('booked', 'confirmed', 'running', 'done');
    SELECT RAISE(ABORT, 'ride_horse_old_enough')
        FROM school_ride r
        JOIN school_lesson l ON l.id = r.lesson_id
        JOIN school_horse h ON h.id = r.horse_id
        WHERE l.id = NEW.id AND r.state = 'booked'
        AND l.state IN ('booked', 'confirmed', 'running', 'done')
        AND h.bookable_from_date > substr(l.starts_at, 1, 10);
    INSERT INTO school_occupancy
        (what, which, taken_from, taken_to, source, source_id, lesson_id)
        SELECT 'person', r.rider_id, l.starts_at, l.ends_at, 'ride', r.id, l.id
        FROM school_ride r JOIN school_lesson l ON l.id = r.lesson_id
        WHERE l.id = NEW.id AND r.state = 'booked'
        AND l.state IN ('booked', 'confirmed', 'running', 'done');
    INSERT INTO school_occupancy
        (what, which, taken_from, taken_to, source, source_id, lesson_id)
        SELECT 'horse', r.horse_id, l.starts_at, l.ends_at, 'ride', r.id, l.id
        FROM school_ride r JOIN school_lesson l ON l.id = r.lesson_id
        WHERE l.id = NEW.id AND r.state = 'booked' AND r.horse_id IS NOT NULL
        AND l.state IN ('booked', 'confirmed', 'running', 'done');
    SELECT RAISE(ABORT, 'lesson_places_not_exceeded')
        FROM school_lesson l WHERE l.id = NEW.id
        AND (SELECT count(*) FROM school_ride
             WHERE lesson_id = l.id AND state = 'booked') > l.places;
END;

CREATE TRIGGER school_ride_updated AFTER UPDATE ON school_ride
BEGIN
    DELETE FROM school_occupancy WHERE source = 'ride' AND source_id = NEW.id;
    SELECT RAISE(ABORT, 'ride_horse_old_enough')
        FROM school_ride r
        JOIN school_lesson l ON l.id = r.lesson_id
        JOIN school_horse h ON h.id = r.horse_id
        WHERE r.id = NEW.id AND r.state = 'booked'
        AND l.state IN ('booked', 'confirmed', 'running', 'done')
        AND h.bookable_from_date > substr(l.starts_at, 1, 10);
    INSERT INTO school_occupancy
        (what, which, taken_from, taken_to, source, source_id, lesson_id)
        SELECT 'person', r.rider_id, l.starts_at, l.ends_at, 'ride', r.id, l.id
        FROM school_ride r JOIN school_lesson l ON l.id = r.lesson_id
        WHERE r.id = NEW.id AND r.state = 'booked'
        AND l.state IN ('booked', 'confirmed', 'running', 'done');
    INSERT INTO school_occupancy
        (what, which, taken_from, taken_to, source, source_id, lesson_id)
        SELECT 'horse', r.horse_id, l.starts_at, l.ends_at, 'ride', r.id, l.id
        FROM school_ride r JOIN school_lesson l ON l.id = r.lesson_id
        WHERE r.id = NEW.id AND r.state = 'booked' AND r.horse_id IS NOT NULL
        AND l.state IN ('booked', 'confirmed', 'running', 'done');
    SELECT RAISE(ABORT, 'lesson_places_not_exceeded')
        FROM school_lesson l WHERE l.id = NEW.lesson_id
        AND (SELECT count(*) FROM school_ride
             WHERE lesson_id = l.id AND state = 'booked') > l.places;
END;

CREATE TRIGGER school_closure_updated AFTER UPDATE ON school_arenaclosure
BEGIN
    DELETE FROM school_occupancy WHERE source = 'closure' AND source_id = NEW.id;
    INSERT INTO school_occupancy
        (what, which, taken_from, taken_to, source, source_id)
        VALUES ('arena', NEW.arena_id, NEW.closed_from, NEW.closed_to,
            'closure', NEW.id);
END;

CREATE TRIGGER school_state_updated AFTER UPDATE ON school_horsestate
BEGIN
    DELETE FROM school_occupancy WHERE source = 'state' AND source_id = NEW.id;
    INSERT INTO school_occupancy
        (what, which, taken_from, taken_to, source, source_id)
        VALUES ('horse', NEW.horse_id, NEW.state_from, NEW.state_to,
            'state', NEW.id);
END;

CREATE TRIGGER school_line_updated AFTER UPDATE ON school_line
WHEN NEW.length_cm > (SELECT length_cm FROM school_arena WHERE id = NEW.arena_id)
BEGIN
    SELECT RAISE(ABORT, 'line_within_its_arena');
END;

CREATE TRIGGER school_lesson_deleted AFTER DELETE ON school_lesson
BEGIN
    DELETE FROM school_occupancy WHERE source = 'lesson' AND source_id = OLD.id;
END;

CREATE TRIGGER school_ride_deleted AFTER DELETE ON school_ride
BEGIN
    DELETE FROM school_occupancy WHERE source = 'ride' AND source_id = OLD.id;
END;

CREATE TRIGGER school_closure_deleted AFTER DELETE ON school_arenaclosure
BEGIN
    DELETE FROM school_occupancy WHERE source = 'closure' AND source_id = OLD.id;
END;

CREATE TRIGGER school_state_deleted AFTER DELETE ON school_horsestate
BEGIN
    DELETE FROM school_occupancy WHERE source = 'state' AND source_id = OLD.id;
END;

CREATE VIEW school_ride_not_allowed AS
    -- SQLite knows no zones: the school's day is one of those anywhere at that moment,
    -- and only what holds on each of them is refused here.
    WITH asked AS (
        SELECT r.id AS ride_id, r.lesson_id, r.rider_id, r.horse_id, l.kind,
            date(l.starts_at, '-12 hours') AS first_day,
            date(l.starts_at, '+14 hours') AS last_day
        FROM school_ride r JOIN school_lesson l ON l.id = r.lesson_id
        WHERE r.state = 'booked'
        AND l.state IN ('booked', 'confirmed', 'running', 'done')
    )
    SELECT a.ride_id, a.lesson_id,
        EXISTS (
            SELECT 1 FROM school_riderstop s
            WHERE s.rider_id = a.rider_id AND s.lifted_at IS NULL
            AND s.from_date <= a.first_day
        ) AS stopped,
        EXISTS (
            SELECT 1 FROM school_rider p JOIN school_school h
            WHERE p.person_id = a.rider_id
            AND (p.born_date > date(a.last_day, '-' || h.lead_rein_from_years || ' years')
                 OR a.kind <> 'lead-rein' AND p.born_date >
                    date(a.last_day, '-' || h.alone_from_years || ' years'))
        ) AS too_young,
        EXISTS (
            SELECT 1 FROM school_rider p JOIN school_school h
            WHERE p.person_id = a.rider_id
            AND p.born_date > date(a.last_day, '-' || h.of_age_years || ' years')
        ) AND NOT EXISTS (
            SELECT 1 FROM school_consent c
            WHERE c.rider_id = a.rider_id AND c.kind = 'riding'
            AND c.given_date <= a.last_day AND c.expires_date >= a.first_day
            AND (c.withdrawn_date IS NULL OR c.withdrawn_date > a.first_day)
        ) AS without_consent,
        EXISTS (
            SELECT 1 FROM school_riderhorse n
            WHERE n.rider_id = a.rider_id AND n.horse_id = a.horse_id
            AND n.liking = 'never'
        ) AS never_again
    FROM asked a;

CREATE TRIGGER school_ride_allowed_inserted AFTER INSERT ON school_ride
WHEN NEW.state = 'booked'
BEGIN
    SELECT RAISE(ABORT, 'ride_rider_not_stopped')
        FROM school_ride_not_allowed WHERE ride_id = NEW.id AND stopped;
    SELECT RAISE(ABORT, 'ride_rider_old_enough')
        FROM school_ride_not_allowed WHERE ride_id = NEW.id AND too_young;
    SELECT RAISE(ABORT, 'ride_minor_has_consent')
        FROM school_ride_not_allowed WHERE ride_id = NEW.id AND without_consent;
    SELECT RAISE(ABORT, 'ride_never_again_kept')
        FROM school_ride_not_allowed WHERE ride_id = NEW.id AND never_again;
END;

CREATE TRIGGER school_ride_allowed_updated AFTER UPDATE ON school_ride
WHEN NEW.state = 'booked' AND (OLD.state = 'cancelled'
    OR OLD.rider_id <> NEW.rider_id OR OLD.lesson_id <> NEW.lesson_id)
BEGIN
    SELECT RAISE(ABORT, 'ride_rider_not_stopped')
        FROM school_ride_not_allowed WHERE ride_id = NEW.id AND stopped;
    SELECT RAISE(ABORT, 'ride_rider_old_enough')
        FROM school_ride_not_allowed WHERE ride_id = NEW.id AND too_young;
    SELECT RAISE(ABORT, 'ride_minor_has_consent')
        FROM school_ride_not_allowed WHERE ride_id = NEW.id AND without_consent;
END;

CREATE TRIGGER school_ride_never_again_updated AFTER UPDATE ON school_ride
WHEN NEW.state = 'booked' AND (OLD.state = 'cancelled'
    OR OLD.rider_id <> NEW.rider_id OR OLD.horse_id IS NOT NEW.horse_id)
BEGIN
    SELECT RAISE(ABORT, 'ride_never_again_kept')
        FROM school_ride_not_allowed WHERE ride_id = NEW.id AND never_again;
END;

CREATE TRIGGER school_lesson_allowed_updated AFTER UPDATE ON school_lesson
WHEN NEW.state IN ('booked', 'confirmed', 'running', 'done')
    AND (OLD.state NOT IN ('booked', 'confirmed', 'running', 'done')
         OR OLD.kind <> NEW.kind
         -- A day has 25 hours at most: so far away is another one, whatever the zone.
         OR abs(julianday(NEW.starts_at) - julianday(OLD.starts_at)) * 24 >= 25)
BEGIN
    SELECT RAISE(ABORT, 'ride_rider_not_stopped')
        FROM school_ride_not_allowed WHERE lesson_id = NEW.id AND stopped;
    SELECT RAISE(ABORT, 'ride_rider_old_enough')
        FROM school_ride_not_allowed WHERE lesson_id = NEW.id AND too_young;
    SELECT RAISE(ABORT, 'ride_minor_has_consent')
        FROM school_ride_not_allowed WHERE lesson_id = NEW.id AND without_consent;
    SELECT RAISE(ABORT, 'ride_never_again_kept')
        FROM school_ride_not_allowed WHERE lesson_id = NEW.id AND never_again;
END;

CREATE VIEW school_lesson_too_few_leaders AS
    -- What is led at one moment is most at some lesson's start. Those that change
    -- places with each other have let go of their arenas, and are not counted.
    SELECT l.id AS lesson_id
    FROM school_lesson l JOIN school_lesson p
        ON p.starts_at < l.ends_at AND p.ends_at > l.starts_at
    WHERE l.kind = 'lead-rein' AND p.kind = 'lead-rein'
    AND l.state IN ('booked', 'confirmed', 'running', 'done')
    AND p.state IN ('booked', 'confirmed', 'running', 'done')
    AND (SELECT sum(q.places) FROM school_lesson q
         WHERE q.kind = 'lead-rein'
         AND q.state IN ('booked', 'confirmed', 'running', 'done')
         AND q.starts_at <= max(l.starts_at, p.starts_at)
         AND q.ends_at > max(l.starts_at, p.starts_at)
         AND (q.id = l.id OR EXISTS (
             SELECT 1 FROM school_occupancy o
             WHERE o.source = 'lesson' AND o.lesson_id = q.id)))
        > (SELECT leaders FROM school_school);

CREATE TRIGGER school_lesson_led_inserted AFTER INSERT ON school_lesson
WHEN NEW.kind = 'lead-rein'
BEGIN
    SELECT RAISE(ABORT, 'lesson_leaders_not_exceeded')
        FROM school_lesson_too_few_leaders WHERE lesson_id = NEW.id;
END;

CREATE TRIGGER school_lesson_led_updated AFTER UPDATE ON school_lesson
WHEN NEW.kind = 'lead-rein' AND (OLD.kind <> NEW.kind OR OLD.places < NEW.places
    OR OLD.state NOT IN ('booked', 'confirmed', 'running', 'done')
    OR OLD.starts_at > NEW.starts_at OR OLD.ends_at < NEW.ends_at)
BEGIN
    SELECT RAISE(ABORT, 'lesson_leaders_not_exceeded')
        FROM school_lesson_too_few_leaders WHERE lesson_id = NEW.id;
END;

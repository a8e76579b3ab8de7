CREATE FUNCTION school_day(moment timestamptz) RETURNS date AS $$
    SELECT (moment AT TIME ZONE
            COALESCE((SELECT zone FROM school_school LIMIT 1), 'UTC'))::date
$$ LANGUAGE sql STABLE;

CREATE FUNCTION school_holds(state text) RETURNS boolean AS $$
    SELECT state IN ('booked', 'confirmed', 'running', 'done')
$$ LANGUAGE sql IMMUTABLE;

CREATE VIEW school_ride_not_allowed AS
    WITH asked AS (
        SELECT r.id AS ride_id, r.lesson_id, r.rider_id, r.horse_id, l.kind,
            school_day(l.starts_at) AS day
        FROM school_ride r JOIN school_lesson l ON l.id = r.lesson_id
        WHERE r.state = 'booked'
        AND l.state IN ('booked', 'confirmed', 'running', 'done')
    )
    SELECT a.ride_id, a.lesson_id,
        EXISTS (
            SELECT 1 FROM school_riderstop s
            WHERE s.rider_id = a.rider_id AND s.lifted_at IS NULL
            AND s.from_date <= a.day
        ) AS stopped,
        EXISTS (
            SELECT 1 FROM school_rider p CROSS JOIN school_school h
            WHERE p.person_id = a.rider_id
            AND (p.born_date > a.day - make_interval(years => h.lead_rein_from_years)
                 OR a.kind <> 'lead-rein' AND p.born_date >
                    a.day - make_interval(years => h.alone_from_years))
        ) AS too_young,
        EXISTS (
            SELECT 1 FROM school_rider p CROSS JOIN school_school h
            WHERE p.person_id = a.rider_id
            AND p.born_date > a.day - make_interval(years => h.of_age_years)
        ) AND NOT EXISTS (
            SELECT 1 FROM school_consent c
            WHERE c.rider_id = a.rider_id AND c.kind = 'riding'
            AND c.given_date <= a.day AND c.expires_date >= a.day
            AND (c.withdrawn_date IS NULL OR c.withdrawn_date > a.day)
        ) AS without_consent,
        EXISTS (
            SELECT 1 FROM school_riderhorse n
            WHERE n.rider_id = a.rider_id AND n.horse_id = a.horse_id
            AND n.liking = 'never'
        ) AS never_again
    FROM asked a;

CREATE FUNCTION school_check_allowed(found school_ride_not_allowed) RETURNS void AS $$
BEGIN
    IF found.stopped THEN
        PERFORM school_refuse('ride_rider_not_stopped', 'the rider is stopped');
    ELSIF found.too_young THEN
        PERFORM school_refuse('ride_rider_old_enough', 'the rider is too young');
    ELSIF found.without_consent THEN
        PERFORM school_refuse('ride_minor_has_consent',
                              'no guardian has given consent for that day');
    ELSIF found.never_again THEN
        PERFORM school_refuse('ride_never_again_kept',
                              'the rider is never to ride that horse again');
    END IF;
END $$ LANGUAGE plpgsql;

CREATE FUNCTION school_ride_allowed() RETURNS trigger AS $$
DECLARE
    found school_ride_not_allowed;
    anew boolean := TG_OP = 'INSERT';
    mounted boolean := TG_OP = 'INSERT';
BEGIN
    IF TG_OP = 'UPDATE' THEN
        anew := OLD.state = 'cancelled' OR OLD.rider_id <> NEW.rider_id
            OR OLD.lesson_id <> NEW.lesson_id;
        mounted := OLD.state = 'cancelled' OR OLD.rider_id <> NEW.rider_id
            OR OLD.horse_id IS DISTINCT FROM NEW.horse_id;
    END IF;
    IF NEW.state <> 'booked' OR NOT (anew OR mounted) THEN
        RETURN NULL;
    END IF;
    SELECT * INTO found FROM school_ride_not_allowed WHERE ride_id = NEW.id;
    IF found IS NULL THEN
        RETURN NULL;
    END IF;
    found.stopped := found.stopped AND anew;
    found.too_young := found.too_young AND anew;
    found.without_consent := found.without_consent AND anew;
    found.never_again := found.never_again AND mounted;
    PERFORM school_check_allowed(found);
    RETURN NULL;
END $$ LANGUAGE plpgsql;

CREATE FUNCTION school_lesson_allowed() RETURNS trigger AS $$
DECLARE
    found school_ride_not_allowed;
BEGIN
    IF school_holds(NEW.state) AND (NOT school_holds(OLD.state)
        OR OLD.kind <> NEW.kind
        OR school_day(OLD.starts_at) <> school_day(NEW.starts_at)) THEN
        FOR found IN SELECT * FROM school_ride_not_allowed
                     WHERE lesson_id = NEW.id LOOP
            PERFORM school_check_allowed(found);
        END LOOP;
    END IF;
    RETURN NULL;
END $$ LANGUAGE plpgsql;

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
         AND q.starts_at <= greatest(l.starts_at, p.starts_at)
         AND q.ends_at > greatest(l.starts_at, p.starts_at)
         AND (q.id = l.id OR EXISTS (
             SELECT 1 FROM school_occupancy o
             WHERE o.source = 'lesson' AND o.lesson_id = q.id)))
        > (SELECT leaders FROM school_school LIMIT 1);

CREATE FUNCTION school_lesson_led() RETURNS trigger AS $$
BEGIN
    IF NEW.kind <> 'lead-rein' OR NOT school_holds(NEW.state) THEN
        RETURN NULL;
    END IF;
    IF TG_OP = 'UPDATE' AND OLD.kind = NEW.kind AND OLD.places >= NEW.places
        AND school_holds(OLD.state)
        AND OLD.starts_at <= NEW.starts_at AND OLD.ends_at >= NEW.ends_at THEN
        RETURN NULL;
    END IF;
    -- Two lessons that want the last leaders wait for each other.
    PERFORM 1 FROM school_school FOR NO KEY UPDATE;
    IF EXISTS (SELECT 1 FROM school_lesson_too_few_leaders
               WHERE lesson_id = NEW.id) THEN
        PERFORM school_refuse('lesson_leaders_not_exceeded',
                              'fewer lead on foot than are led at once');
    END IF;
    RETURN NULL;
END $$ LANGUAGE plpgsql;

-- Triggers fire by name: these after `..._written`, which waits for the lesson's row.
CREATE TRIGGER school_ride_written_allowed AFTER INSERT OR UPDATE ON school_ride
    FOR EACH ROW EXECUTE FUNCTION school_ride_allowed();
CREATE TRIGGER school_lesson_written_allowed AFTER UPDATE ON school_lesson
    FOR EACH ROW EXECUTE FUNCTION school_lesson_allowed();
CREATE TRIGGER school_lesson_written_led AFTER INSERT OR UPDATE ON school_lesson
    FOR EACH ROW EXECUTE FUNCTION school_lesson_led();

-- One list runs at a station. Triggers and no unique index, as on SQLite, where an early version let two be started: the database must open until
-- people have finished one of them.

CREATE INDEX running_by_station ON cut_lists (station_id) WHERE state = 'running';

CREATE FUNCTION refuse_second_running() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    -- Two that start a list at the same moment must see each other.
    PERFORM 1 FROM stations WHERE station_id = NEW.station_id FOR NO KEY UPDATE;
    IF EXISTS (
        SELECT 1 FROM cut_lists
        WHERE station_id = NEW.station_id AND state = 'running' AND list_number <> NEW.list_number
    ) THEN
        RAISE EXCEPTION 'another list runs at the station' USING ERRCODE = 'integrity_constraint_violation';
    END IF;
    RETURN NEW;
END
$$;

CREATE TRIGGER one_list_is_started BEFORE UPDATE OF state ON cut_lists
FOR EACH ROW WHEN (NEW.state = 'running' AND OLD.state <> 'running') EXECUTE FUNCTION refuse_second_running();

CREATE TRIGGER one_list_is_added_running BEFORE INSERT ON cut_lists
FOR EACH ROW WHEN (NEW.state = 'running') EXECUTE FUNCTION refuse_second_running();

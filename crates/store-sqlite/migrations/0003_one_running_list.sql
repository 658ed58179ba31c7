-- One list runs at a station. Triggers and no unique index: the list that is running by now at a station where, by an
-- earlier version, two were started has to be finished by people, and the database must open until then.

CREATE INDEX running_by_station ON cut_lists (station_id) WHERE state = 'running';

CREATE TRIGGER one_list_is_started BEFORE UPDATE OF state ON cut_lists
WHEN NEW.state = 'running' AND OLD.state <> 'running' AND EXISTS (
    SELECT 1 FROM cut_lists WHERE station_id = NEW.station_id AND state = 'running' AND list_number <> NEW.list_number
)
BEGIN
    SELECT RAISE(ABORT, 'another list runs at the station');
END;

CREATE TRIGGER one_list_is_added_running BEFORE INSERT ON cut_lists
WHEN NEW.state = 'running' AND EXISTS (
    SELECT 1 FROM cut_lists WHERE station_id = NEW.station_id AND state = 'running'
)
BEGIN
    SELECT RAISE(ABORT, 'another list runs at the station');
END;

-- The state of the catalogue is the sum of these, and is asked for with every string set: from here it is read without the
-- wires themselves.
CREATE INDEX wires_by_version ON wires (version);

-- The section of the scale that each piece belongs to, and the order by sections. Steps of a time before this have no section.
ALTER TABLE cut_steps ADD COLUMN section_id text;
ALTER TABLE cut_steps ADD COLUMN section_number bigint
    CHECK ((section_number IS NULL) = (section_id IS NULL) AND (section_number IS NULL OR section_number >= 1));

-- What a column may hold is changed by another column that takes its name.
ALTER TABLE cut_lists ADD COLUMN wanted_order text NOT NULL DEFAULT 'up_the_scale'
    CHECK (wanted_order IN ('by_length', 'by_section', 'up_the_scale', 'down_the_scale'));
UPDATE cut_lists SET wanted_order = piece_order;
ALTER TABLE cut_lists DROP COLUMN piece_order;
ALTER TABLE cut_lists RENAME COLUMN wanted_order TO piece_order;

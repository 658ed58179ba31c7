-- First answers to requests may be dropped after some time. A request whose answer is gone is known by its entry in the journal, and is
-- never done again.
CREATE INDEX journal_by_request ON journal (request_id, method, actor);

-- Those to be dropped are looked for by age.
CREATE INDEX answers_by_age ON answers (created_us);

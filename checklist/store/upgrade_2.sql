-- From schema 1 to 2: where a board keeps its lists, and what a coil does when its
-- board dies or restarts.

ALTER TABLE board ADD COLUMN lists TEXT NOT NULL DEFAULT '' CHECK (lists IN ('', 'board', 'reader'));
ALTER TABLE reader ADD COLUMN when_dead TEXT NOT NULL DEFAULT '' CHECK (when_dead IN ('', 'stays', 'off'));
ALTER TABLE reader ADD COLUMN after_reset TEXT NOT NULL DEFAULT '' CHECK (after_reset IN ('', 'keeps', 'off'));
UPDATE propwright_schema SET version = 2;

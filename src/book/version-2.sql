-- From version 1 to 2: who did the work, and with what fitted, as a job sheet says.
ALTER TABLE visit ADD COLUMN technician TEXT;
ALTER TABLE visit ADD COLUMN attachment TEXT;

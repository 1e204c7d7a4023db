-- Acts are only added. The one change allowed takes a body away, when a person's data are destroyed.
CREATE TRIGGER act_kept BEFORE DELETE ON act BEGIN SELECT RAISE(ABORT, 'acts are never deleted'); END;
CREATE TRIGGER act_unchanged BEFORE UPDATE ON act
WHEN NEW.body IS NOT NULL OR NEW.seq <> OLD.seq OR NEW.hash <> OLD.hash OR NEW.prev <> OLD.prev OR NEW.body_sha256 <> OLD.body_sha256
BEGIN SELECT RAISE(ABORT, 'acts are never changed'); END;

-- Acts are only added. The one change allowed takes a body away, when a person's data are destroyed.
CREATE FUNCTION act_guard() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    IF TG_OP = 'DELETE' THEN
        RAISE EXCEPTION 'acts are never deleted';
    END IF;
    IF NEW.body IS NOT NULL OR NEW.seq <> OLD.seq OR NEW.hash <> OLD.hash OR NEW.prev <> OLD.prev OR NEW.body_sha256 <> OLD.body_sha256 THEN
        RAISE EXCEPTION 'acts are never changed';
    END IF;
    RETURN NEW;
END $$;
CREATE TRIGGER act_guarded BEFORE UPDATE OR DELETE ON act FOR EACH ROW EXECUTE FUNCTION act_guard();

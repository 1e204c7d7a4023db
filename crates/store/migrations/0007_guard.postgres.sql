-- The guard of 0001 looks at rows, and emptying a table touches none.
CREATE FUNCTION act_not_emptied() RETURNS trigger LANGUAGE plpgsql AS $$
BEGIN
    RAISE EXCEPTION 'acts are never deleted';
END $$;
CREATE TRIGGER act_whole BEFORE TRUNCATE ON act FOR EACH STATEMENT EXECUTE FUNCTION act_not_emptied();

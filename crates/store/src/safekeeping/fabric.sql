-- Everything a PostgreSQL database is made of, as the server itself prints it: kind, table, name, definition.
-- What an extension brought is its own affair. Names without their schema, so that two schemas can be compared.
WITH
here AS (SELECT current_schema()::regnamespace::oid AS schema),
foreign_to_us AS (SELECT classid, objid FROM pg_depend WHERE deptype = 'e'),
tables AS (
    SELECT c.* FROM pg_class c, here
    WHERE c.relnamespace = here.schema AND c.relkind IN ('r', 'p', 'v', 'm', 'f', 'S')
        AND NOT EXISTS (SELECT FROM foreign_to_us f WHERE f.classid = 'pg_class'::regclass AND f.objid = c.oid)
)
SELECT
    CASE c.relkind WHEN 'v' THEN 'view' WHEN 'm' THEN 'view' WHEN 'S' THEN 'sequence' ELSE 'table' END,
    c.relname::text,
    c.relname::text,
    concat_ws(
        ' ', c.relkind, c.relpersistence,
        CASE WHEN c.relrowsecurity THEN 'row security' END,
        CASE WHEN c.relforcerowsecurity THEN 'forced' END,
        -- Rows of a table that inherits are seen through the one it inherits from.
        (SELECT string_agg(i.inhrelid::regclass::text, ' ') FROM pg_inherits i WHERE i.inhparent = c.oid)
    )
FROM tables c
UNION ALL
SELECT
    'column', c.relname::text, a.attname::text,
    concat_ws(
        ' ', format_type(a.atttypid, a.atttypmod),
        CASE WHEN a.attnotnull THEN 'not null' END,
        'default ' || pg_get_expr(d.adbin, d.adrelid, true),
        a.attidentity, a.attgenerated, l.collname
    )
FROM tables c
JOIN pg_attribute a ON a.attrelid = c.oid AND a.attnum > 0 AND NOT a.attisdropped
LEFT JOIN pg_attrdef d ON d.adrelid = a.attrelid AND d.adnum = a.attnum
LEFT JOIN pg_collation l ON l.oid = a.attcollation
WHERE c.relkind IN ('r', 'p')
UNION ALL
SELECT 'index', c.relname::text, x.relname::text, pg_get_indexdef(i.indexrelid, 0, true)
FROM tables c
JOIN pg_index i ON i.indrelid = c.oid
JOIN pg_class x ON x.oid = i.indexrelid
UNION ALL
-- Whether a column may be empty is told with the column.
SELECT
    'constraint', c.relname::text, n.conname::text,
    pg_get_constraintdef(n.oid, true) || CASE WHEN EXISTS (
        SELECT FROM pg_trigger t WHERE t.tgconstraint = n.oid AND t.tgenabled NOT IN ('O', 'A')
    ) THEN ' (switched off)' ELSE '' END
FROM tables c
JOIN pg_constraint n ON n.conrelid = c.oid AND n.contype <> 'n'
UNION ALL
SELECT
    'trigger', c.relname::text, t.tgname::text,
    pg_get_triggerdef(t.oid, true) || CASE WHEN t.tgenabled IN ('O', 'A') THEN '' ELSE ' (switched off)' END
FROM tables c
JOIN pg_trigger t ON t.tgrelid = c.oid AND NOT t.tgisinternal
UNION ALL
SELECT 'rule', c.relname::text, r.rulename::text, pg_get_ruledef(r.oid, true)
FROM tables c
JOIN pg_rewrite r ON r.ev_class = c.oid
WHERE c.relkind IN ('r', 'p')
UNION ALL
SELECT
    'policy', c.relname::text, p.polname::text,
    concat_ws(' ', p.polcmd, pg_get_expr(p.polqual, p.polrelid, true), pg_get_expr(p.polwithcheck, p.polrelid, true))
FROM tables c
JOIN pg_policy p ON p.polrelid = c.oid
UNION ALL
SELECT
    'function', '', p.proname::text || '(' || pg_get_function_identity_arguments(p.oid) || ')',
    concat_ws(
        ' ', p.prokind, pg_get_function_result(p.oid), l.lanname, p.provolatile, p.proisstrict, p.prosecdef,
        p.proleakproof, p.proconfig::text, p.probin, p.prosrc
    )
FROM here
JOIN pg_proc p ON p.pronamespace = here.schema
JOIN pg_language l ON l.oid = p.prolang
WHERE NOT EXISTS (SELECT FROM foreign_to_us f WHERE f.classid = 'pg_proc'::regclass AND f.objid = p.oid)

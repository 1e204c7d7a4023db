//! Whatever is changed behind the program's back is found and named.

use sqlx::Connection as _;
use sqlx::Row as _;
use store::record::act::Author;
use store::record::all_tables;
use store::record::chain_head::HEADS;
use store::record::db::Place;
use store::safekeeping::proof::Verified;
use store::safekeeping::verify::in_silence;

use crate::both::Desk;
use crate::both::straight;
use crate::full;

async fn verified(desk: &Desk) -> Verified {
    desk.store.verify(&[], &in_silence).await.unwrap()
}

/// Everything wrong, one a line.
async fn wrong(desk: &Desk) -> String {
    let found = verified(desk).await;
    assert_eq!(found.wrong.len() as u64, found.wrong_count.min(200));
    found.wrong.join("\n")
}

/// Goes round the guard of the acts and every reference, as whoever owns the database can.
pub(crate) async fn behind(desk: &Desk, sql: &str) {
    let sql = match &desk.place {
        Place::Folder(folder) => {
            let url = format!("sqlite://{}", folder.join("matins.db").display());
            let mut conn = sqlx::SqliteConnection::connect(&url).await.unwrap();
            let guards: Vec<(String, String)> =
                sqlx::query_as("SELECT name, sql FROM sqlite_master WHERE type = 'trigger'")
                    .fetch_all(&mut conn)
                    .await
                    .unwrap();
            let off: Vec<String> =
                guards.iter().map(|(name, _)| format!("DROP TRIGGER {name}")).collect();
            let on: Vec<String> = guards.into_iter().map(|(_, sql)| sql).collect();
            let (off, on) = (off.join(";"), on.join(";"));
            format!("PRAGMA foreign_keys = OFF; BEGIN IMMEDIATE; {off}; {sql}; {on}; COMMIT")
        }
        Place::Url(_) => format!("SET session_replication_role = replica; {sql}"),
    };
    straight(&desk.place, sql).await.unwrap();
}

/// Columns of a table with the kind of value each holds, from the database's own list.
async fn columns(desk: &Desk, table: &str) -> Vec<(String, String)> {
    match &desk.place {
        Place::Folder(folder) => {
            let url = format!("sqlite://{}", folder.join("matins.db").display());
            let mut conn = sqlx::SqliteConnection::connect(&url).await.unwrap();
            let sql = sqlx::AssertSqlSafe(format!("PRAGMA table_info({table})"));
            let rows = sqlx::query(sql).fetch_all(&mut conn).await.unwrap();
            rows.iter().map(|row| (row.get(1), row.get::<String, _>(2).to_lowercase())).collect()
        }
        Place::Url(url) => {
            let mut conn = sqlx::PgConnection::connect(url).await.unwrap();
            sqlx::query_as("SELECT column_name::text, data_type::text FROM information_schema.columns WHERE table_name = $1 AND table_schema = current_schema() ORDER BY ordinal_position")
                .bind(table)
                .fetch_all(&mut conn)
                .await
                .unwrap()
        }
    }
}

async fn tables_of_the_database(desk: &Desk) -> Vec<String> {
    match &desk.place {
        Place::Folder(folder) => {
            let url = format!("sqlite://{}", folder.join("matins.db").display());
            let mut conn = sqlx::SqliteConnection::connect(&url).await.unwrap();
            sqlx::query_scalar("SELECT name FROM sqlite_master WHERE type = 'table' AND name NOT LIKE 'sqlite_%' ORDER BY name")
                .fetch_all(&mut conn)
                .await
                .unwrap()
        }
        Place::Url(url) => {
            let mut conn = sqlx::PgConnection::connect(url).await.unwrap();
            sqlx::query_scalar("SELECT table_name::text FROM information_schema.tables WHERE table_schema = current_schema() ORDER BY 1")
                .fetch_all(&mut conn)
                .await
                .unwrap()
        }
    }
}

/// Another value of the same kind.
fn other(column: &str, kind: &str) -> String {
    match kind {
        "text" => format!("COALESCE({column}, '') || 'x'"),
        "boolean" => format!("NOT {column}"),
        "double precision" => format!("COALESCE({column}, 0) + 0.000001"),
        _ => format!("COALESCE({column}, 0) + 7"),
    }
}

/// Ways to change how an embedded database is made, each with what is said of it.
const FOLDER: &[(&str, &str)] = &[
    (
        "DROP TRIGGER act_kept; CREATE TRIGGER act_kept BEFORE DELETE ON act WHEN 0 BEGIN SELECT RAISE(ABORT, 'acts are never deleted'); END",
        "the trigger act_kept is not as this release makes it",
    ),
    (
        "DROP INDEX person_mrn; CREATE UNIQUE INDEX person_mrn ON person (mrn) WHERE voided_at IS NULL AND mrn <> '1'",
        "the index person_mrn is not as this release makes it",
    ),
    (
        "DROP INDEX person_nhs; CREATE INDEX person_nhs ON person (nhs_number) WHERE voided_at IS NULL AND nhs_number IS NOT NULL",
        "the index person_nhs is not as this release makes it",
    ),
    (
        "PRAGMA writable_schema = ON; UPDATE sqlite_master SET sql = replace(sql, 'family TEXT NOT NULL', 'family TEXT') WHERE name = 'person'",
        "the table person is not as this release makes it",
    ),
    (
        "PRAGMA writable_schema = ON; UPDATE sqlite_master SET sql = replace(sql, 'REFERENCES account (id)', '') WHERE name = 'device'",
        "the table device is not as this release makes it",
    ),
    (
        "CREATE VIEW planted AS SELECT * FROM person",
        "a view planted stands in the database, and no release made it",
    ),
];

/// The same of a server.
const SERVER: &[(&str, &str)] = &[
    (
        "CREATE OR REPLACE FUNCTION act_guard() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RETURN COALESCE(NEW, OLD); END $$",
        "the function act_guard() is not as this release makes it",
    ),
    (
        "ALTER FUNCTION act_not_emptied() SET search_path = elsewhere",
        "the function act_not_emptied() is not as this release makes it",
    ),
    (
        "DROP TRIGGER act_guarded ON act; CREATE TRIGGER act_guarded BEFORE UPDATE OR DELETE ON act FOR EACH ROW WHEN (false) EXECUTE FUNCTION act_guard()",
        "the trigger act_guarded is not as this release makes it",
    ),
    (
        "ALTER TABLE act ENABLE REPLICA TRIGGER act_whole",
        "the guard that keeps acts from being changed is gone",
    ),
    (
        "DROP INDEX person_mrn; CREATE UNIQUE INDEX person_mrn ON person (mrn) WHERE voided_at IS NULL AND mrn <> '1'",
        "the index person_mrn is not as this release makes it",
    ),
    (
        "DROP INDEX person_nhs; CREATE INDEX person_nhs ON person (nhs_number) WHERE voided_at IS NULL AND nhs_number IS NOT NULL",
        "the index person_nhs is not as this release makes it",
    ),
    (
        "ALTER TABLE person ALTER COLUMN mrn TYPE VARCHAR(9000)",
        "the column mrn of person is not as this release makes it",
    ),
    (
        "ALTER TABLE person ALTER COLUMN family DROP NOT NULL",
        "the column family of person is not as this release makes it",
    ),
    (
        "ALTER TABLE person ALTER COLUMN given SET DEFAULT 'nobody'",
        "the column given of person is not as this release makes it",
    ),
    (
        "ALTER TABLE person ADD COLUMN planted TEXT",
        "a column planted of person stands in the database, and no release made it",
    ),
    (
        "ALTER TABLE person DISABLE TRIGGER ALL",
        "the constraint person_same_as_fkey of person is not as this release makes it",
    ),
    (
        "ALTER TABLE device DROP CONSTRAINT device_account_fkey",
        "the constraint device_account_fkey of device is gone",
    ),
    (
        "ALTER TABLE account ADD CONSTRAINT planted CHECK (login <> 'other')",
        "a constraint planted of account stands in the database, and no release made it",
    ),
    (
        "ALTER TABLE report ENABLE ROW LEVEL SECURITY",
        "the table report is not as this release makes it",
    ),
    (
        "CREATE POLICY planted ON report USING (false)",
        "a policy planted of report stands in the database, and no release made it",
    ),
    (
        "CREATE RULE planted AS ON DELETE TO loan DO INSTEAD NOTHING",
        "a rule planted of loan stands in the database, and no release made it",
    ),
    (
        "CREATE SCHEMA elsewhere; CREATE TABLE elsewhere.planted () INHERITS (night)",
        "the table night is not as this release makes it",
    ),
    (
        "CREATE VIEW planted AS SELECT * FROM person",
        "a view planted stands in the database, and no release made it",
    ),
];

on_both! {
    async fn a_record_that_was_only_used_is_sound(desk) {
        full::fill(&desk.store).await;
        let found = verified(&desk).await;
        assert_eq!(found.wrong, Vec::<String>::new());
        assert_eq!((found.acts, found.rows, found.files, found.seq), (6, 21, 3, 6));
        assert_eq!(found.hash, desk.store.head().await.unwrap().hash);
    }

    async fn every_table_of_the_database_is_checked(desk) {
        let mut known: Vec<&str> = all_tables::tables();
        known.extend(all_tables::NOT_ROWS);
        known.sort_unstable();
        assert_eq!(tables_of_the_database(&desk).await, known);
    }

    /// Every column of every table, one after another: changed, found, put back.
    async fn a_changed_cell_is_named(desk) {
        full::fill(&desk.store).await;
        let mut cells = 0;
        for table in all_tables::tables() {
            behind(&desk, &format!("CREATE TABLE saved AS SELECT * FROM {table}")).await;
            for (column, kind) in columns(&desk, table).await.iter().skip(1) {
                behind(&desk, &format!("UPDATE {table} SET {column} = {} WHERE id = 1", other(column, kind))).await;
                let said = wrong(&desk).await;
                let field = format!("{table} 1: {column} is ");
                assert!(said.contains(&field) || said.contains(&format!("{table} 1 cannot be read")), "{table}.{column}: {said}");
                behind(&desk, &format!("UPDATE {table} SET {column} = (SELECT {column} FROM saved WHERE saved.id = 1) WHERE id = 1")).await;
                cells += 1;
            }
            behind(&desk, "DROP TABLE saved").await;
        }
        assert!(cells > 150, "{cells}");
        assert_eq!(wrong(&desk).await, "");
    }

    async fn a_row_put_in_or_taken_out_is_named(desk) {
        full::fill(&desk.store).await;
        for table in all_tables::tables() {
            let all = columns(&desk, table).await;
            let names: Vec<&str> = all.iter().map(|(name, _)| name.as_str()).collect();
            let names = names.join(", ");
            let values: Vec<String> = all.iter().map(|(name, kind)| if name == "id" { "99".to_owned() } else { other(name, kind) }).collect();
            behind(&desk, &format!("INSERT INTO {table} ({names}) SELECT {} FROM {table} WHERE id = 1", values.join(", "))).await;
            let said = wrong(&desk).await;
            assert!(said.contains(&format!("{table} 99 ")) && said.contains("no act wrote it"), "{said}");
            behind(&desk, &format!("CREATE TABLE saved AS SELECT * FROM {table} WHERE id = 1; DELETE FROM {table}")).await;
            let said = wrong(&desk).await;
            assert!(said.contains(&format!("{table} 1, written by act ")) && said.contains(", is gone"), "{said}");
            behind(&desk, &format!("INSERT INTO {table} ({names}) SELECT {names} FROM saved; DROP TABLE saved")).await;
        }
        assert_eq!(wrong(&desk).await, "");
    }

    async fn a_changed_act_is_named(desk) {
        full::fill(&desk.store).await;
        for (sql, says) in [
            ("UPDATE act SET body = replace(body, 'Dr Night', 'Dr Nigth') WHERE seq = 2", "what act 2 wrote was changed"),
            ("UPDATE act SET body = replace(body, 'Dr Nigth', 'Dr Night') WHERE seq = 2", ""),
            ("UPDATE act SET who = 'other' WHERE seq = 3", "act 3 was changed: its content does not give its hash"),
            ("UPDATE act SET who = 'desk' WHERE seq = 3", ""),
            ("UPDATE act SET person = 2 WHERE seq = 4", "act 4 was changed: its content does not give its hash"),
            ("UPDATE act SET person = 1 WHERE seq = 4", ""),
            ("UPDATE act SET at = at + 1 WHERE seq = 1", "act 1 was changed: its content does not give its hash"),
            ("UPDATE act SET at = at - 1 WHERE seq = 1", ""),
        ] {
            behind(&desk, sql).await;
            assert_eq!(verified(&desk).await.wrong.first().map_or("", String::as_str), says, "{sql}");
        }
    }

    /// Whoever changes an act and computes its hash anew gives themselves away at the next.
    async fn an_act_made_anew_is_named_by_the_next(desk) {
        full::fill(&desk.store).await;
        let mut entry = desk.store.read().await.unwrap().entries(2, 1).await.unwrap().remove(0);
        "other".clone_into(&mut entry.who);
        let hash = entry.link();
        behind(&desk, &format!("UPDATE act SET who = 'other', hash = '{hash}' WHERE seq = 3")).await;
        assert_eq!(wrong(&desk).await, "act 4 does not follow act 3: one of them was changed or put in another's place");
    }

    async fn an_act_taken_out_is_named(desk) {
        full::fill(&desk.store).await;
        behind(&desk, "DELETE FROM act WHERE seq = 4").await;
        let said = wrong(&desk).await;
        assert!(said.starts_with("act 4 is missing\n"), "{said}");
        assert!(said.contains("chase 1 stands in the database, but no act wrote it"), "{said}");
    }

    async fn acts_that_changed_places_are_named(desk) {
        full::fill(&desk.store).await;
        behind(&desk, "UPDATE act SET seq = 100 WHERE seq = 3; UPDATE act SET seq = 3 WHERE seq = 4; UPDATE act SET seq = 4 WHERE seq = 100").await;
        let said = wrong(&desk).await;
        assert!(said.starts_with("act 3 was changed: its content does not give its hash\nact 4 was changed"), "{said}");
    }

    async fn content_taken_away_without_a_destruction_is_named(desk) {
        full::fill(&desk.store).await;
        straight(&desk.place, "UPDATE act SET body = NULL WHERE seq = 1").await.unwrap();
        let said = wrong(&desk).await;
        assert!(said.contains("what act 1 wrote is gone, and no destruction accounts for it"), "{said}");
    }

    /// A cut that takes the last act, its rows and the gate with it leaves a chain that is whole.
    async fn a_cut_at_the_end_is_seen_against_an_exported_head(desk) {
        full::fill(&desk.store).await;
        let exported = desk.store.export_head().await.unwrap();
        behind(&desk, "DELETE FROM report; DELETE FROM second_reading; DELETE FROM notes_version; DELETE FROM outcome; DELETE FROM bytes WHERE length = 21; DELETE FROM act WHERE seq = 6; UPDATE gate SET seq = 5, hash = (SELECT hash FROM act WHERE seq = 5) WHERE id = 1").await;
        let cut = "acts were cut off at the end: the chain ends with act 5, but act 6 of 2026-11-25T08:00:00Z was exported";
        if let Some(folder) = desk.store.folder() {
            assert_eq!(wrong(&desk).await, cut);
            std::fs::remove_file(folder.join(HEADS)).unwrap();
        }
        assert_eq!(wrong(&desk).await, "");
        let found = desk.store.verify(std::slice::from_ref(&exported), &in_silence).await.unwrap();
        assert_eq!(found.wrong, [cut]);
        // Another act in the place of the one cut off.
        desk.store.act(&Author::program(), "look").await.unwrap().close().await.unwrap();
        let said = desk.store.verify(&[exported], &in_silence).await.unwrap().wrong.join("\n");
        assert!(said.starts_with("act 6 is not the one of which the head was exported"), "{said}");
    }

    async fn a_gate_that_points_elsewhere_is_named(desk) {
        full::fill(&desk.store).await;
        behind(&desk, "UPDATE gate SET seq = 5 WHERE id = 1").await;
        assert_eq!(wrong(&desk).await, "the chain ends with act 6, but the database holds act 5 for the last");
    }

    async fn the_time_of_the_last_act_is_proved_too(desk) {
        full::fill(&desk.store).await;
        behind(&desk, "UPDATE gate SET at = at - 1000000 WHERE id = 1").await;
        assert_eq!(wrong(&desk).await, "the last act is of 2026-11-25T08:00:00Z, but the database holds 2026-11-13T18:13:20Z for its time");
    }

    async fn what_was_planted_or_taken_out_beside_the_rows_is_named(desk) {
        full::fill(&desk.store).await;
        let (planted, emptied) = if desk.store.folder().is_some() {
            ("CREATE TRIGGER planted AFTER INSERT ON person BEGIN DELETE FROM session; END", "DROP TRIGGER act_kept; CREATE TRIGGER act_kept BEFORE DELETE ON act BEGIN SELECT 1; END")
        } else {
            ("CREATE TRIGGER planted BEFORE INSERT ON person FOR EACH ROW EXECUTE FUNCTION act_guard()", "CREATE OR REPLACE FUNCTION act_guard() RETURNS trigger LANGUAGE plpgsql AS $$ BEGIN RETURN NEW; END $$")
        };
        for (sql, says) in [
            (planted, "a trigger planted stands in the database, and no release made it"),
            ("DROP INDEX person_mrn", "the index person_mrn"),
            (emptied, "is not as this release makes it"),
        ] {
            straight(&desk.place, sql).await.unwrap();
            let said = wrong(&desk).await;
            assert!(said.lines().last().unwrap().contains(says) || said.contains(says), "{sql}: {said}");
        }
    }

    /// The whole definition counts, not the name: guards that guard nothing, indices that hold for some rows,
    /// columns that take more, references that do not hold.
    async fn r14_whatever_was_made_otherwise_is_named(desk) {
        assert_eq!(wrong(&desk).await, "");
        let tampered: &[(&str, &str)] = if desk.store.folder().is_some() { FOLDER } else { SERVER };
        for (sql, says) in tampered {
            let before = wrong(&desk).await;
            assert!(!before.contains(says), "{says} before {sql}: {before}");
            straight(&desk.place, *sql).await.unwrap_or_else(|error| panic!("{sql}: {error}"));
            let after = wrong(&desk).await;
            assert!(after.lines().any(|line| line == *says), "{sql}: {after}");
        }
    }

    /// What a cut leaves behind: the paper of a report whose act and row are gone.
    async fn r14_bytes_that_no_row_wants_are_told(desk) {
        full::fill(&desk.store).await;
        assert_eq!(verified(&desk).await.told, Vec::<String>::new());
        behind(&desk, "UPDATE report SET pdf_sha256 = NULL").await;
        let found = verified(&desk).await;
        assert!(found.told.len() == 1 && found.told[0].contains("belong to no row"), "{found:?}");
    }

    async fn a_guard_taken_away_is_named(desk) {
        let sql = if desk.store.folder().is_some() { "DROP TRIGGER act_kept" } else { "ALTER TABLE act DISABLE TRIGGER act_guarded" };
        straight(&desk.place, sql).await.unwrap();
        assert_eq!(wrong(&desk).await, "the guard that keeps acts from being changed is gone");
    }

    async fn kept_bytes_that_changed_or_went_are_named(desk) {
        full::fill(&desk.store).await;
        let sha256 = "SELECT sha256 FROM original WHERE id = 1";
        let flipped = if desk.store.folder().is_some() { "CAST(substr(deflated, 1, 8) || X'00' || substr(deflated, 10) AS BLOB)" } else { "set_byte(deflated, 8, get_byte(deflated, 8) # 8)" };
        behind(&desk, &format!("UPDATE bytes SET deflated = {flipped} WHERE sha256 = ({sha256})")).await;
        let said = wrong(&desk).await;
        assert!(said.starts_with("the kept bytes ") && said.ends_with(" of original 1 are not what they were"), "{said}");
        let original: store::record::tables::Original = desk.store.read().await.unwrap().get(1).await.unwrap();
        let refused = desk.store.read().await.unwrap().bytes(&original.sha256).await.unwrap_err();
        assert!(refused.to_string().starts_with("the record is damaged: the kept bytes "), "{refused}");
        behind(&desk, &format!("DELETE FROM bytes WHERE sha256 = ({sha256})")).await;
        assert_eq!(wrong(&desk).await, format!("the bytes of original 1 are gone ({})", original.sha256));
    }

    async fn bytes_come_back_whole(desk) {
        let long: Vec<u8> = (0..300_000_u32).flat_map(|n| n.wrapping_mul(n).to_le_bytes()).collect();
        let mut act = desk.store.act(&Author::program(), "night.receive").await.unwrap();
        let (one, none) = (act.keep_bytes(&long).await.unwrap(), act.keep_bytes(b"").await.unwrap());
        assert_eq!(act.keep_bytes(&long).await.unwrap(), one);
        act.close().await.unwrap();
        let mut conn = desk.store.read().await.unwrap();
        assert_eq!(conn.bytes(&one).await.unwrap(), long);
        assert_eq!(conn.bytes(&none).await.unwrap(), b"");
    }
}

/// The published vector: one bit of a blob of 28,800 letters, flipped in the file itself, which the
/// database's own check calls sound.
#[tokio::test(flavor = "multi_thread")]
async fn a_bit_flipped_on_the_disk_is_found_where_the_database_finds_nothing() {
    let desk = Desk::sqlite().await;
    let mut noise = 1_u32;
    let mut next = || {
        noise = noise.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        (noise >> 24) as u8
    };
    // Noise does not deflate, so that the kept bytes fill pages of their own.
    let bytes: Vec<u8> = (0..28_800).map(|_| next()).collect();
    let mut act = desk.store.act(&Author::program(), "night.receive").await.unwrap();
    let sha256 = act.keep_bytes(&bytes).await.unwrap();
    act.close().await.unwrap();
    desk.store.close().await;
    let Place::Folder(folder) = &desk.place else { unreachable!() };
    let path = folder.join("matins.db");
    let mut file = std::fs::read(&path).unwrap();
    let piece = &bytes[20_000..20_032];
    let at = file.windows(32).position(|window| window == piece).unwrap();
    file[at] ^= 8;
    std::fs::write(&path, file).unwrap();

    let store =
        store::record::db::Store::open(&desk.place, store::when::wall_clock()).await.unwrap();
    let url = format!("sqlite://{}", path.display());
    let mut conn = sqlx::SqliteConnection::connect(&url).await.unwrap();
    let said: String =
        sqlx::query_scalar("PRAGMA integrity_check").fetch_one(&mut conn).await.unwrap();
    assert_eq!(said, "ok");
    let found = store.verify(&[], &in_silence).await.unwrap();
    assert_eq!(found.wrong, [format!("the kept bytes {sha256} are not what they were")]);
}

//! Which rows of the record are about one person: the one list that destruction and access both go by.

use std::collections::BTreeMap;
use std::collections::BTreeSet;

use crate::error::Result;
use crate::record::db::Conn;

/// Rows by table and number.
#[derive(Clone, Debug, Default, PartialEq, Eq)]
pub struct Belongings {
    of: BTreeMap<&'static str, BTreeSet<i64>>,
}

/// From what a row is found to be a person's: the table, the column, and the table the column points to.
const LINKS: [(&str, &str, &str); 21] = [
    ("person", "same_as", "person"),
    ("referral", "person", "person"),
    ("study", "person", "person"),
    ("loan", "person", "person"),
    ("loan_night", "loan", "loan"),
    ("movement", "loan", "loan"),
    ("monitor_check", "loan", "loan"),
    ("cleaning", "loan", "loan"),
    ("chase", "loan", "loan"),
    ("diary_entry", "loan", "loan"),
    ("night", "person", "person"),
    ("night", "loan", "loan"),
    ("night_tie", "night", "night"),
    ("night_tie", "loan", "loan"),
    ("outcome", "night", "night"),
    ("notes_version", "night", "night"),
    ("second_reading", "night", "night"),
    ("report", "night", "night"),
    ("study", "referral", "referral"),
    ("loan", "study", "study"),
    ("night", "study", "study"),
];

impl Belongings {
    /// Everything that is about a person, and about rows voided as doubles of them.
    pub async fn of(conn: &mut Conn, person: i64) -> Result<Self> {
        let mut found = Self::default();
        found.add("person", person);
        // A link may lead to rows from which an earlier one leads on.
        let mut before = 0;
        while found.count() > before {
            before = found.count();
            for (table, column, to) in LINKS {
                for id in found.ids(to) {
                    let sql = format!("SELECT id FROM {table} WHERE {column} = $1");
                    for row in numbers(conn, sql, id).await? {
                        found.add(table, row);
                    }
                }
            }
        }
        for night in found.ids("night") {
            let sql = "SELECT original FROM night WHERE id = $1".to_owned();
            for original in numbers(conn, sql, night).await? {
                found.add("original", original);
            }
        }
        let mut settings: Vec<String> =
            found.ids("original").into_iter().map(|id| format!("reading:{id}")).collect();
        settings.push(format!("hold:{person}"));
        for name in settings {
            let sql = "SELECT id FROM setting WHERE name = $1";
            let rows: Vec<i64> =
                on!(conn, c => sqlx::query_scalar(sql).bind(&name).fetch_all(c).await)?;
            for row in rows {
                found.add("setting", row);
            }
        }
        Ok(found)
    }

    fn add(&mut self, table: &'static str, id: i64) {
        self.of.entry(table).or_default().insert(id);
    }

    fn count(&self) -> usize {
        self.of.values().map(BTreeSet::len).sum()
    }

    /// Numbers of the rows of a table, in order.
    pub fn ids(&self, table: &str) -> Vec<i64> {
        self.of.get(table).into_iter().flatten().copied().collect()
    }

    /// Whether a row is one of them.
    pub fn holds(&self, table: &str, id: i64) -> bool {
        self.of.get(table).is_some_and(|ids| ids.contains(&id))
    }

    /// Leaves out a row that is another person's as well.
    pub(crate) fn leave_out(&mut self, table: &str, id: i64) {
        if let Some(ids) = self.of.get_mut(table) {
            ids.remove(&id);
        }
    }
}

async fn numbers(conn: &mut Conn, sql: String, id: i64) -> Result<Vec<i64>> {
    let sql = sqlx::AssertSqlSafe(sql);
    Ok(on!(conn, c => sqlx::query_scalar(sql).bind(id).fetch_all(c).await)?)
}

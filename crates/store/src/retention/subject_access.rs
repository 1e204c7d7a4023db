//! Everything the record holds about one person, for that person: readable, complete, with the files.

use serde_json::Map;
use serde_json::Value;
use serde_json::json;

use crate::error::Result;
use crate::error::StoreError;
use crate::people::person::reason_given;
use crate::record::act::Author;
use crate::record::all_tables::every_table;
use crate::record::db::Store;
use crate::record::row::Record as _;
use crate::record::tables::Original;
use crate::record::tables::Person;
use crate::record::tables::Report;
use crate::retention::belongings::Belongings;
use crate::retention::schedule::governs;
use crate::when::rfc3339;

/// Everything about one person.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Access {
    /// Every row, table by table, and every act that touched their data, as indented JSON.
    pub json: String,
    /// Files by name: originals, and signed reports as PDF.
    pub files: Vec<(String, Vec<u8>)>,
}

impl Store {
    /// Puts together everything that is held about a person. That it was done stands in the record.
    ///
    /// # Errors
    /// When somebody without the right tries, no reason is given, or a file is damaged.
    pub async fn subject_access(&self, by: &Author, person: i64, reason: &str) -> Result<Access> {
        governs(by)?;
        let reason = reason_given(reason)?;
        let mut act = self.act(by, "person.access").await?;
        act.get::<Person>(person).await?;
        act.on(format!("person {person}"), Some(person));
        act.because(reason);
        act.close().await?;
        let mut conn = self.read().await?;
        let all = Belongings::of(&mut conn, person).await?;
        let mut out = Map::new();
        out.insert("format".to_owned(), json!("matins-person/1"));
        out.insert("made_at".to_owned(), json!(rfc3339(self.now())));
        every_table!(Row => {
            let mut rows = Vec::new();
            for id in all.ids(Row::TABLE) {
                let row: Row = conn.get(id).await?;
                rows.push(serde_json::to_value(&row).map_err(|error| StoreError::Damaged { says: error.to_string() })?);
            }
            if !rows.is_empty() {
                out.insert(Row::TABLE.to_owned(), Value::Array(rows));
            }
        });
        let sql = "SELECT seq, at, who, role, station, verb, object FROM act WHERE person = $1 ORDER BY seq";
        let acts: Vec<(i64, i64, String, String, String, String, String)> =
            on!(&mut conn, c => sqlx::query_as(sql).bind(person).fetch_all(c).await)?;
        let acts = acts.into_iter().map(|(seq, at, who, role, station, verb, object)| {
            json!({"act": seq, "at": rfc3339(at), "who": who, "role": role, "station": station, "what": verb, "to": object})
        });
        out.insert("act".to_owned(), Value::Array(acts.collect()));
        let mut files = Vec::new();
        for id in all.ids("original") {
            let original: Original = conn.get(id).await?;
            if original.destroyed_at.is_none() {
                files.push((
                    format!("original-{id}-{}", plain(&original.name)),
                    conn.bytes(&original.sha256).await?,
                ));
            }
        }
        for id in all.ids("report") {
            let report: Report = conn.get(id).await?;
            if let Some(sha256) = &report.pdf_sha256 {
                files.push((
                    format!("report-{id}-version-{}.pdf", report.version),
                    conn.bytes(sha256).await?,
                ));
            }
        }
        let json = serde_json::to_string_pretty(&Value::Object(out))
            .map_err(|error| StoreError::Damaged { says: error.to_string() })?;
        Ok(Access { json: json + "\n", files })
    }
}

/// A name that is safe for a file in any folder.
fn plain(name: &str) -> String {
    name.chars()
        .map(
            |sign| {
                if sign.is_alphanumeric() || matches!(sign, '.' | '-' | '_') { sign } else { '_' }
            },
        )
        .collect()
}

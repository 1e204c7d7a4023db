//! The image of a row: what the act that wrote it says that it holds.
//!
//! Checking holds every row against its last image. So does every act, before it writes a row anew: whoever
//! changed the row behind the record would else have the change carried into the chain by the next person's
//! act, under that person's name, and nothing would tell it from then on.

use serde_json::Value;
use sha2::Digest;
use sha2::Sha256;

use crate::error::Result;
use crate::error::StoreError;
use crate::record::chain::canonical;
use crate::record::db::Conn;
use crate::record::row::Record;
use crate::record::schema;
use crate::record::schema::Younger;

impl Conn {
    /// Refuses a row that is not as its act wrote it. What a destruction took cannot be compared.
    pub(crate) async fn as_written<R: Record>(&mut self, row: &R) -> Result<()> {
        let act = row.written();
        let sql = "SELECT body FROM act WHERE seq = $1";
        let body: Option<Option<String>> =
            on!(self, c => sqlx::query_scalar(sql).bind(act).fetch_optional(c).await)?;
        let Some(body) = body else { return Err(altered(&R::name(row.id()), act)) };
        let Some(body) = body else { return Ok(()) };
        let found = serde_json::to_value(row)
            .map_err(|error| StoreError::Damaged { says: error.to_string() })?;
        let wrote = image_of(&body, R::TABLE, row.id()).map(image_sha256);
        match wrote {
            Some(wrote) if stands(&schema::younger(), R::TABLE, &found, &wrote) => Ok(()),
            _ => Err(altered(&R::name(row.id()), act)),
        }
    }
}

fn altered(name: &str, act: i64) -> StoreError {
    let says = format!(
        "{name} is not as act {act} wrote it: somebody changed it behind the record, and nothing is built on it"
    );
    StoreError::Damaged { says }
}

/// Whether a row is as its image was, the columns that came after the image holding what their step gave
/// them. Steps are taken back one by one, the latest first.
pub(crate) fn stands(younger: &[Younger], table: &str, row: &Value, sha256: &[u8; 32]) -> bool {
    if image_sha256(row.clone()) == *sha256 {
        return true;
    }
    let mut row = row.clone();
    let of_table: Vec<&Younger> = younger.iter().filter(|one| one.table == table).collect();
    for step in of_table.chunk_by(|one, other| one.step == other.step) {
        for added in step {
            if !added.defaults().contains(&row[&added.field]) {
                return false;
            }
            row[&added.field] = Value::Null;
        }
        if image_sha256(row.clone()) == *sha256 {
            return true;
        }
    }
    false
}

/// Hash of a row's image. A field that holds nothing counts as one that is not there, so that a column
/// added by a later release does not make old images differ.
pub(crate) fn image_sha256(mut row: Value) -> [u8; 32] {
    if let Some(fields) = row.as_object_mut() {
        fields.retain(|_, value| !value.is_null());
    }
    Sha256::digest(canonical(&row).as_bytes()).into()
}

/// What an act wrote of a row; `None` when it wrote nothing of it, or cannot be read.
pub(crate) fn image_of(body: &str, table: &str, id: i64) -> Option<Value> {
    let mut body: Value = serde_json::from_str(body).ok()?;
    let rows = body["rows"].as_array_mut()?.iter_mut();
    // Of two images of one row in one act the later counts.
    let last = rows.rev().find(|one| one["table"] == table && one["row"]["id"] == id)?;
    Some(last["row"].take())
}

//! Kinds of rows and how one is written, the same on both databases.

use serde::Serialize;
use serde::de::DeserializeOwned;
use sqlx::postgres::PgArguments;
use sqlx::postgres::PgRow;
use sqlx::query::Query;
use sqlx::sqlite::SqliteArguments;
use sqlx::sqlite::SqliteRow;

use crate::record::chain::sha256;
use crate::record::fit::Unfit;

/// A query on `SQLite` that still takes values.
pub type SqliteQuery<'q> = Query<'q, sqlx::Sqlite, SqliteArguments>;
/// A query on `PostgreSQL` that still takes values.
pub type PostgresQuery<'q> = Query<'q, sqlx::Postgres, PgArguments>;

/// A kind of row of the record. Rows are written whole; the chain keeps an image of each writing.
pub trait Record:
    Clone
    + Serialize
    + DeserializeOwned
    + Send
    + Sync
    + Unpin
    + for<'r> sqlx::FromRow<'r, SqliteRow>
    + for<'r> sqlx::FromRow<'r, PgRow>
{
    /// Its table.
    const TABLE: &'static str;
    /// Its columns in order: `id`, `act`, then the fields.
    const COLUMNS: &'static [&'static str];

    /// Number of the row; 0 before it is first written.
    fn id(&self) -> i64;
    /// Gives the row its number and the act that writes it.
    fn stamp(&mut self, id: i64, act: i64);
    /// The act that wrote it last.
    fn written(&self) -> i64;
    /// Makes every field what both databases and the chain write alike.
    ///
    /// # Errors
    /// The first field that no database may keep.
    fn fit(&mut self) -> std::result::Result<(), Unfit>;
    /// Binds every column in order.
    fn bind_sqlite<'q>(&self, query: SqliteQuery<'q>) -> SqliteQuery<'q>;
    /// Binds every column in order.
    fn bind_postgres<'q>(&self, query: PostgresQuery<'q>) -> PostgresQuery<'q>;

    /// The thing as errors and the audit call it: `loan 12`.
    fn name(id: i64) -> String {
        format!("{} {id}", Self::TABLE)
    }
}

/// Writes a secret's SHA-256 in its place, so that acts show that it changed and do not hold it.
#[expect(clippy::ref_option, reason = "the shape serde asks for")]
pub(crate) fn fingerprint<S: serde::Serializer>(
    secret: &Option<String>,
    to: S,
) -> Result<S::Ok, S::Error> {
    secret.as_ref().map(|secret| sha256(secret.as_bytes())).serialize(to)
}

/// The statement that writes a row whole: new, or over the one of its number.
pub(crate) fn put_sql<R: Record>() -> String {
    let places: Vec<String> = (1..=R::COLUMNS.len()).map(|at| format!("${at}")).collect();
    let over: Vec<String> =
        R::COLUMNS[1..].iter().map(|column| format!("{column} = excluded.{column}")).collect();
    format!(
        "INSERT INTO {} ({}) VALUES ({}) ON CONFLICT (id) DO UPDATE SET {}",
        R::TABLE,
        R::COLUMNS.join(", "),
        places.join(", "),
        over.join(", ")
    )
}

/// A list or structure kept as JSON text in one column.
#[derive(Clone, Debug, Default, PartialEq, Eq, serde::Serialize, serde::Deserialize)]
#[serde(transparent)]
pub struct Kept<T>(pub T);

impl<T, D: sqlx::Database> sqlx::Type<D> for Kept<T>
where
    String: sqlx::Type<D>,
{
    fn type_info() -> D::TypeInfo {
        <String as sqlx::Type<D>>::type_info()
    }

    fn compatible(info: &D::TypeInfo) -> bool {
        <String as sqlx::Type<D>>::compatible(info)
    }
}

impl<'q, T: Serialize, D: sqlx::Database> sqlx::Encode<'q, D> for Kept<T>
where
    String: sqlx::Encode<'q, D>,
{
    fn encode_by_ref(
        &self,
        buffer: &mut <D as sqlx::Database>::ArgumentBuffer,
    ) -> Result<sqlx::encode::IsNull, sqlx::error::BoxDynError> {
        serde_json::to_string(&self.0)?.encode_by_ref(buffer)
    }
}

impl<'r, T: DeserializeOwned, D: sqlx::Database> sqlx::Decode<'r, D> for Kept<T>
where
    String: sqlx::Decode<'r, D>,
{
    fn decode(
        value: <D as sqlx::Database>::ValueRef<'r>,
    ) -> Result<Self, sqlx::error::BoxDynError> {
        Ok(Self(serde_json::from_str(&String::decode(value)?)?))
    }
}

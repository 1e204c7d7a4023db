//! Bytes kept whole, by the SHA-256 of what they are: originals, signed papers and the criteria of results.

use std::io::Read as _;
use std::io::Write as _;

use flate2::Compression;
use flate2::read::ZlibDecoder;
use flate2::write::ZlibEncoder;

use crate::error::Result;
use crate::error::StoreError;
use crate::record::act::Act;
use crate::record::chain::sha256;
use crate::record::db::Conn;

/// Bytes made ready to be kept. Deflating takes time, so it is done before an act begins.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Packed {
    /// SHA-256 of the bytes.
    pub sha256: String,
    /// Their length, bytes.
    pub length: i64,
    deflated: Vec<u8>,
}

impl Packed {
    /// Packs bytes.
    ///
    /// # Errors
    /// When there is no memory for it.
    pub fn new(bytes: &[u8]) -> Result<Self> {
        let mut pack = ZlibEncoder::new(Vec::new(), Compression::default());
        let deflated = pack.write_all(bytes).and_then(|()| pack.finish());
        let deflated = deflated.map_err(|error| StoreError::Damaged { says: error.to_string() })?;
        let length = i64::try_from(bytes.len()).unwrap_or(i64::MAX);
        Ok(Self { sha256: sha256(bytes), length, deflated })
    }
}

/// One row of kept bytes.
#[derive(Clone, Debug, sqlx::FromRow)]
pub(crate) struct KeptBytes {
    pub(crate) sha256: String,
    pub(crate) length: i64,
    pub(crate) deflated: Vec<u8>,
}

impl KeptBytes {
    /// What they were, if they still are.
    pub(crate) fn unpacked(&self) -> Result<Vec<u8>> {
        let length = u64::try_from(self.length).unwrap_or(0);
        let mut bytes = Vec::new();
        // One byte more than there should be is enough to see that there are too many.
        let read = ZlibDecoder::new(&*self.deflated).take(length + 1).read_to_end(&mut bytes);
        if read.is_err() || bytes.len() as u64 != length || sha256(&bytes) != self.sha256 {
            return Err(StoreError::Damaged {
                says: format!("the kept bytes {} are not what they were", self.sha256),
            });
        }
        Ok(bytes)
    }
}

impl Act {
    /// Keeps bytes that were packed before; the same bytes are kept once.
    ///
    /// # Errors
    /// When the database refuses them.
    pub async fn keep(&mut self, packed: &Packed) -> Result<()> {
        let row = KeptBytes {
            sha256: packed.sha256.clone(),
            length: packed.length,
            deflated: packed.deflated.clone(),
        };
        write(self.conn(), &row).await
    }

    /// Packs and keeps bytes; gives their SHA-256.
    ///
    /// # Errors
    /// When the database refuses them.
    pub async fn keep_bytes(&mut self, bytes: &[u8]) -> Result<String> {
        let packed = Packed::new(bytes)?;
        self.keep(&packed).await?;
        Ok(packed.sha256)
    }
}

impl Conn {
    /// Kept bytes by their SHA-256, which is computed again.
    ///
    /// # Errors
    /// [`StoreError::Missing`] when they are not kept, [`StoreError::Damaged`] when they are not what they were.
    pub async fn bytes(&mut self, sha256: &str) -> Result<Vec<u8>> {
        let sql = "SELECT sha256, length, deflated FROM bytes WHERE sha256 = $1";
        let found: Option<KeptBytes> =
            on!(self, c => sqlx::query_as(sql).bind(sha256).fetch_optional(c).await)?;
        found.ok_or_else(|| StoreError::Missing { what: format!("file {sha256}") })?.unpacked()
    }

    /// Whether bytes of this SHA-256 are kept.
    pub(crate) async fn has_bytes(&mut self, sha256: &str) -> Result<bool> {
        let sql = "SELECT COUNT(*) FROM bytes WHERE sha256 = $1";
        Ok(self.number(sql, &[sha256.into()]).await? > 0)
    }

    /// The kept bytes whose hash follows, as they are kept.
    pub(crate) async fn bytes_after(&mut self, sha256: &str) -> Result<Option<KeptBytes>> {
        let sql =
            "SELECT sha256, length, deflated FROM bytes WHERE sha256 > $1 ORDER BY sha256 LIMIT 1";
        Ok(on!(self, c => sqlx::query_as(sql).bind(sha256).fetch_optional(c).await)?)
    }
}

pub(crate) async fn write(conn: &mut Conn, row: &KeptBytes) -> Result<()> {
    let sql = "INSERT INTO bytes (sha256, length, deflated) VALUES ($1, $2, $3) ON CONFLICT (sha256) DO NOTHING";
    on!(conn, c => sqlx::query(sql).bind(&row.sha256).bind(row.length).bind(&row.deflated).execute(c).await.map(|_| ()))?;
    Ok(())
}

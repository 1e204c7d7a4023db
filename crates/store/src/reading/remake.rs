//! A signed report made again from what is kept: the original's bytes, the notes and the criteria of that day.
//!
//! Same bytes out as were signed, as long as the engine and the printer are those that made it.

use engine::print::Heading;
use engine::print::Stamp;
use engine::report::Report as Printed;

use crate::error::Result;
use crate::error::StoreError;
use crate::reading::content::Content;
use crate::record::chain::sha256;
use crate::record::db::Conn;
use crate::record::tables::Night;
use crate::record::tables::Report;

/// A version of a report, made again and not printed yet.
#[derive(Clone, Debug)]
pub struct Remade {
    /// The night it is about.
    pub night: Night,
    /// The version.
    pub version: Report,
    /// The engine that made it then.
    pub engine: String,
    /// What the engine says of the night.
    pub report: Printed,
    /// The words around it.
    pub heading: Heading,
    /// What stands across it since it was replaced or withdrawn.
    pub stamp: Option<Stamp>,
}

impl Remade {
    /// Whether these are the bytes that were signed.
    pub fn is_signed(&self, pdf: &[u8]) -> bool {
        self.version.pdf_sha256.as_deref() == Some(sha256(pdf).as_str())
    }

    /// The words around it as they may be printed today: with the mark of a version that stands no more.
    pub fn marked(&self) -> Heading {
        Heading { stamp: self.stamp.clone(), ..self.heading.clone() }
    }
}

impl Conn {
    /// A version of a night's report; the latest that was signed when none is named.
    ///
    /// # Errors
    /// When there is none, or it was withdrawn without a paper.
    pub async fn signed(&mut self, night: i64, version: Option<i64>) -> Result<Report> {
        let night = self.get::<Night>(night).await?.id;
        let all = self.reports(night).await?;
        let mut papers = all.into_iter().filter(|report| report.pdf_sha256.is_some());
        let found = match version {
            Some(number) => papers.find(|report| report.version == number),
            None => papers.next(),
        };
        found.ok_or_else(|| {
            let of = version.map_or(String::new(), |number| format!(" version {number} of"));
            let says = format!("night {night} has no{of} signed report");
            StoreError::refused("no_report", says, "the night's page lists its versions")
        })
    }

    /// Makes a signed report again from the bytes of its night.
    ///
    /// # Errors
    /// When there is none, its bytes are gone, or this release does not understand what was kept.
    pub async fn remade(&mut self, night: i64, version: Option<i64>) -> Result<Remade> {
        let night: Night = self.get(night).await?;
        let version = self.signed(night.id, version).await?;
        let content: Content = serde_json::from_str(&version.content)
            .map_err(|error| StoreError::Damaged { says: error.to_string() })?;
        let stamp = self.stamp(&version).await?;
        let criteria = self.criteria_kept(&content.criteria_sha256).await?;
        let held = self.held(&night).await?;
        let (notes, heading) = (content.notes.clone(), content.heading());
        let made = tokio::task::spawn_blocking(move || -> Result<Printed> {
            Ok(engine::report::report(&held.judgement_kept(&notes, &criteria)?, &criteria))
        });
        let report =
            made.await.map_err(|error| StoreError::Damaged { says: error.to_string() })??;
        Ok(Remade { night, version, engine: content.engine, report, heading, stamp })
    }
}

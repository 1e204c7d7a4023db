//! Second readings of some of the past nights: most finished, two that wait.

use std::sync::Arc;

use store::error::Result;
use store::reading::edit::Change;
use store::reading::second::DrawForm;
use store::reading::steps::Step;
use store::record::tables::Night;
use store::record::tables::SecondReading;
use store::when;
use store::words::Role;

use crate::living::Past;
use crate::living::by;

/// How many nights are drawn, and how many of them are read again.
const DRAWN: i64 = 14;
const READ: usize = 12;

impl Past<'_> {
    /// Draws a sample of the months before and reads most of it again.
    pub(crate) async fn seconds(&self) -> Result<()> {
        let day = |days| when::days_later(self.today, days).to_string();
        let form =
            DrawForm { asked: DRAWN, from: day(-112), to: day(-3), seed: "lullaby".to_owned() };
        let first = by("thistle", "Ansel Thistlewood", Role::Physiologist);
        let drawn = self.store.draw_second(&first, form, &self.zone).await?;
        for (n, reading) in drawn.iter().take(READ).enumerate() {
            self.read_again(reading, n).await?;
        }
        Ok(())
    }

    /// Reads one night again; on two of three something is excluded that the first reader believed.
    async fn read_again(&self, reading: &SecondReading, n: usize) -> Result<()> {
        let reader = by("bracken", "Bryony Bracken", Role::Physiologist);
        let mut begun = self.store.begin_second(&reader, reading.id).await?;
        if !n.is_multiple_of(3) {
            let mut conn = self.store.read().await?;
            let night: Night = conn.get(reading.night).await?;
            let held = conn.held(&night).await?;
            drop(conn);
            let channel = if n.is_multiple_of(2) { "spo2" } else { "tcpco2" };
            let step = Step::Change(Change::Judge {
                channels: vec![channel.to_owned()],
                from: "02:00".to_owned(),
                until: format!("02:{:02}", 5 + 4 * n),
                believe: false,
                reason: "lay on the sensor".to_owned(),
            });
            let recording = Arc::new(held.recording()?);
            let done = self.store.step_second(&reader, begun.id, begun.act, step, recording);
            begun = Box::pin(done).await?.reading;
        }
        Box::pin(self.store.finish_second(&reader, begun.id, begun.act)).await.map(|_| ())
    }
}

//! How far each gas check lay off, monitor by monitor.

use super::Chart;
use super::Named;
use super::Period;
use crate::error::Result;
use crate::record::db::Conn;
use crate::record::tables::Monitor;
use crate::words::CheckWhen;

/// One check with a gas.
#[derive(Clone, Copy, Debug, PartialEq)]
pub struct GasCheck {
    /// When, s since 1970.
    pub at: i64,
    /// Before or after a loan.
    pub made: CheckWhen,
    /// What the gas should give, kPa.
    pub expected_kpa: f64,
    /// What the monitor showed, kPa.
    pub observed_kpa: f64,
    /// Whether the monitor passed the whole check.
    pub passed: bool,
}

impl GasCheck {
    /// What the monitor showed less what it should have, kPa.
    pub fn off_kpa(&self) -> f64 {
        self.observed_kpa - self.expected_kpa
    }
}

/// The gas checks of one monitor in a period.
#[derive(Clone, Debug, PartialEq)]
pub struct Drift {
    /// The monitor.
    pub monitor: Named,
    /// Its checks, the oldest first.
    pub checks: Vec<GasCheck>,
    /// Their chart, in kPa off; `None` when there was no check.
    pub chart: Option<Chart>,
    /// How far a check may lie off, by the department's setting, kPa.
    pub limit_kpa: f64,
}

impl Drift {
    fn new(monitor: Named, checks: Vec<GasCheck>, limit_kpa: f64) -> Self {
        let off: Vec<f64> = checks.iter().map(GasCheck::off_kpa).collect();
        Self { monitor, checks, chart: Chart::of(&off), limit_kpa }
    }

    /// The checks that lay further off than the department allows.
    pub fn beyond(&self) -> impl Iterator<Item = &GasCheck> {
        let limit_kpa = self.limit_kpa + engine::unit::TOLERANCE;
        self.checks.iter().filter(move |check| check.off_kpa().abs() > limit_kpa)
    }

    /// Whether nothing of it stands out.
    pub fn is_quiet(&self) -> bool {
        self.beyond().next().is_none() && self.chart.as_ref().is_none_or(Chart::is_quiet)
    }
}

type Row = (i64, i64, CheckWhen, f64, f64, bool);

impl Conn {
    /// The gas checks of every monitor that had one in the period, by mark.
    pub async fn drifts(&mut self, period: &Period) -> Result<Vec<Drift>> {
        let limit_kpa = self.desk_settings().await?.gas_limit_kpa;
        let sql = "SELECT monitor, at, made, expected_kpa, observed_kpa, passed FROM monitor_check WHERE at >= $1 AND at < $2 AND expected_kpa IS NOT NULL AND observed_kpa IS NOT NULL AND voided_at IS NULL ORDER BY at, id";
        let rows: Vec<Row> = self.rows(sql, &period.binds()).await?;
        let marks = self.marks().await?;
        let all = marks.into_iter().map(|monitor| {
            let own = rows.iter().filter(|row| row.0 == monitor.id).map(check).collect();
            Drift::new(monitor, own, limit_kpa)
        });
        Ok(all.filter(|drift| !drift.checks.is_empty()).collect())
    }

    /// The gas checks of one monitor in the period.
    ///
    /// # Errors
    /// When there is no such monitor.
    pub async fn drift(&mut self, monitor: i64, period: &Period) -> Result<Drift> {
        let limit_kpa = self.desk_settings().await?.gas_limit_kpa;
        let mark = self.get::<Monitor>(monitor).await?.mark;
        let sql = "SELECT monitor, at, made, expected_kpa, observed_kpa, passed FROM monitor_check WHERE at >= $1 AND at < $2 AND monitor = $3 AND expected_kpa IS NOT NULL AND observed_kpa IS NOT NULL AND voided_at IS NULL ORDER BY at, id";
        let [from, to] = period.binds();
        let rows: Vec<Row> = self.rows(sql, &[from, to, monitor.into()]).await?;
        let checks = rows.iter().map(check).collect();
        Ok(Drift::new(Named { id: monitor, mark }, checks, limit_kpa))
    }
}

fn check(row: &Row) -> GasCheck {
    let (_, at, made, expected_kpa, observed_kpa, passed) = *row;
    GasCheck { at, made, expected_kpa, observed_kpa, passed }
}

//! How two readers of the same nights agree: kappa of verdicts and answers, bias and limits of figures, and
//! the seconds both believe. Nobody is named, neither patients nor readers.
//!
//! # Sources
//! `cohen-1960`, `cohen-1968`, `fleiss-cohen-everitt-1969` (kappa), `bland-altman-1986` (limits of agreement).

use engine::stats::BlandAltman;
use engine::stats::Interval;
use engine::stats::Kappa;
use engine::stats::Weights;
use engine::stats::bland_altman;
use engine::stats::kappa;
use engine::stats::t_quantile;

use crate::db::Conn;
use crate::error::Result;
use crate::second::FIGURES;
use crate::tables::Pair;
use crate::tables::SecondReading;

/// The fewest pairs that limits and intervals are given for; common practice, no source.
pub const FEWEST: usize = 10;
/// Standard deviations of the limits of agreement, `bland-altman-1986`.
const SDS: f64 = 1.96;

/// Ids of the verdicts, from the best to the worst.
pub const VERDICTS: [&str; 3] = ["sufficient", "partial", "repeat"];
/// Ids of the answers.
pub const ANSWERS: [&str; 3] = ["met", "not_met", "cannot_tell"];

/// How two readers sorted the same nights into three classes.
#[derive(Clone, Debug, PartialEq)]
pub struct Classes {
    /// What was sorted.
    pub name: String,
    /// `table[i][j]`: nights the first reader put in class `i` and the second in `j`.
    pub table: Vec<Vec<u64>>,
    /// Cohen's kappa; `None` when both used one class, or there is no night.
    pub kappa: Option<Kappa>,
    /// The same with linear weights, for classes that have an order.
    pub weighted: Option<Kappa>,
}

impl Classes {
    fn of<'a>(name: &str, ids: [&str; 3], pairs: impl Iterator<Item = &'a [String; 2]>) -> Self {
        let mut table = vec![vec![0; 3]; 3];
        let class = |id: &String| ids.iter().position(|one| one == id);
        for [first, second] in pairs {
            if let (Some(i), Some(j)) = (class(first), class(second)) {
                table[i][j] += 1;
            }
        }
        Self {
            name: name.to_owned(),
            kappa: kappa(&table, Weights::None),
            weighted: kappa(&table, Weights::Linear),
            table,
        }
    }

    /// How many nights.
    pub fn count(&self) -> u64 {
        self.table.iter().flatten().sum()
    }

    /// How many both put in the same class.
    pub fn same(&self) -> u64 {
        (0..self.table.len()).map(|i| self.table[i][i]).sum()
    }
}

/// The 95 % interval of a kappa, of the large-sample standard error; `None` with fewer nights than
/// [`FEWEST`], or when the error is nought (full agreement).
pub fn kappa_interval(kappa: &Kappa, count: u64) -> Option<Interval> {
    let half = SDS * kappa.se;
    let enough = count >= FEWEST as u64 && half > 0.0;
    enough.then(|| Interval {
        low: (kappa.kappa - half).max(-1.0),
        high: (kappa.kappa + half).min(1.0),
    })
}

/// One figure by two readers.
#[derive(Clone, Debug, PartialEq)]
pub struct FigureAgreement {
    /// Its id.
    pub id: &'static str,
    /// First and second reader's, a night each.
    pub points: Vec<(f64, f64)>,
    /// Nights where only one reader's reading gives it.
    pub one_only: usize,
    /// Bias and limits, second less first; `None` with fewer pairs than [`FEWEST`].
    pub limits: Option<BlandAltman>,
}

impl FigureAgreement {
    fn of(id: &'static str, pairs: &[&Pair]) -> Self {
        let values = || {
            let all = pairs.iter().flat_map(|pair| &pair.figures);
            all.filter(|(known, _)| known == id).map(|(_, values)| values)
        };
        let points: Vec<(f64, f64)> =
            values().filter_map(|[first, second]| Some(((*first)?, (*second)?))).collect();
        let one_only =
            values().filter(|[first, second]| first.is_some() != second.is_some()).count();
        let differences: Vec<f64> = points.iter().map(|(first, second)| second - first).collect();
        let limits = (points.len() >= FEWEST).then(|| bland_altman(&differences, SDS)).flatten();
        Self { id, points, one_only, limits }
    }

    /// The mean difference, second less first; `None` without a pair.
    pub fn bias(&self) -> Option<f64> {
        let all: Vec<f64> = self.points.iter().map(|(first, second)| second - first).collect();
        engine::stats::mean(&all)
    }
}

/// What is believed of one channel, second by second.
#[derive(Clone, Debug, PartialEq)]
pub struct Seconds {
    /// Id of the channel.
    pub channel: String,
    /// Seconds believed by both, by the first alone, by the second alone, by neither.
    pub seconds: [f64; 4],
    /// The share of seconds told the same, of 1, night by night.
    pub shares: Vec<f64>,
    /// Cohen's kappa of all seconds together. It has no interval: seconds of a night are not independent.
    pub kappa: Option<Kappa>,
}

impl Seconds {
    /// The share of all seconds told the same, of 1; `None` when there are none.
    pub fn share(&self) -> Option<f64> {
        share(&self.seconds)
    }

    /// Mean share of a night with its 95 % interval by Student's t over nights, from [`FEWEST`] nights.
    pub fn interval(&self) -> Option<Interval> {
        let n = self.shares.len();
        if n < FEWEST {
            return None;
        }
        let (mean, sd) = (engine::stats::mean(&self.shares)?, engine::stats::sd(&self.shares)?);
        let half = t_quantile(0.975, n as f64 - 1.0)? * sd / (n as f64).sqrt();
        Some(Interval { low: (mean - half).max(0.0), high: (mean + half).min(1.0) })
    }
}

fn share(seconds: &[f64; 4]) -> Option<f64> {
    let all = engine::stats::sum(seconds.iter().copied());
    (all > 0.0).then(|| (seconds[0] + seconds[3]) / all)
}

/// How the readers agree over all finished pairs.
#[derive(Clone, Debug, PartialEq)]
pub struct Agreement {
    /// Pairs that are compared.
    pub pairs: Vec<Pair>,
    /// Finished pairs that are not, as the first reading answers something else.
    pub unlike: usize,
    /// Second readings that wait or are under way.
    pub open: usize,
    /// Second readings withdrawn.
    pub withdrawn: usize,
    /// Of the pairs, those drawn at random.
    pub random: usize,
    /// Of the pairs, those whose second reader had opened the night before.
    pub seen_before: usize,
    /// The verdicts.
    pub verdict: Classes,
    /// The answers of each rule.
    pub rules: Vec<Classes>,
    /// The figures.
    pub figures: Vec<FigureAgreement>,
    /// What is believed, channel by channel.
    pub seconds: Vec<Seconds>,
}

impl Agreement {
    /// Counts readings.
    pub fn of(readings: &[SecondReading]) -> Self {
        let finished = readings.iter().filter(|reading| reading.finished_at.is_some());
        let with: Vec<(&SecondReading, &Pair)> =
            finished.filter_map(|reading| Some((reading, reading.pair.0.as_ref()?))).collect();
        let alike = || with.iter().filter(|(_, pair)| pair.unlike.is_none());
        let pairs: Vec<&Pair> = alike().map(|(_, pair)| *pair).collect();
        let over = |one: &&SecondReading| one.withdrawn_at.is_some();
        let is_random = |one: &SecondReading| one.how == crate::words::Drawn::Random;
        Self {
            unlike: with.len() - pairs.len(),
            open: readings
                .iter()
                .filter(|one| one.finished_at.is_none() && one.withdrawn_at.is_none())
                .count(),
            withdrawn: readings.iter().filter(over).count(),
            random: alike().filter(|(reading, _)| is_random(reading)).count(),
            seen_before: alike().filter(|(reading, _)| reading.seen_before > 0).count(),
            verdict: Classes::of("verdict", VERDICTS, pairs.iter().map(|pair| &pair.verdict)),
            rules: rules(&pairs),
            figures: FIGURES.iter().map(|id| FigureAgreement::of(id, &pairs)).collect(),
            seconds: channels(&pairs),
            pairs: pairs.into_iter().cloned().collect(),
        }
    }
}

fn rules(pairs: &[&Pair]) -> Vec<Classes> {
    let mut asks: Vec<&str> = Vec::new();
    for (rule, _) in pairs.iter().flat_map(|pair| &pair.rules) {
        if !asks.contains(&rule.as_str()) {
            asks.push(rule);
        }
    }
    let of = |rule: &str| {
        let all = pairs.iter().flat_map(|pair| &pair.rules);
        let own: Vec<&[String; 2]> =
            all.filter(|(asked, _)| asked == rule).map(|(_, answers)| answers).collect();
        Classes::of(rule, ANSWERS, own.into_iter())
    };
    asks.into_iter().map(of).collect()
}

fn channels(pairs: &[&Pair]) -> Vec<Seconds> {
    let mut all: Vec<Seconds> = Vec::new();
    for (channel, seconds) in pairs.iter().flat_map(|pair| &pair.seconds) {
        let at = all.iter().position(|one| one.channel == *channel).unwrap_or(all.len());
        if at == all.len() {
            let channel = channel.clone();
            all.push(Seconds { channel, seconds: [0.0; 4], shares: Vec::new(), kappa: None });
        }
        for (sum, more) in all[at].seconds.iter_mut().zip(seconds) {
            *sum += more;
        }
        all[at].shares.extend(share(seconds));
    }
    for one in &mut all {
        #[expect(
            clippy::cast_possible_truncation,
            clippy::cast_sign_loss,
            reason = "seconds of recordings are whole and not below nought"
        )]
        let whole = one.seconds.map(|seconds| seconds.round() as u64);
        let table = [vec![whole[0], whole[1]], vec![whole[2], whole[3]]];
        one.kappa = kappa(&table, Weights::None);
    }
    all
}

impl Conn {
    /// How the readers of the department agree, over every second reading.
    ///
    /// # Errors
    /// When the database breaks off.
    pub async fn agreement(&mut self) -> Result<Agreement> {
        Ok(Agreement::of(&self.find("ORDER BY id", &[]).await?))
    }
}

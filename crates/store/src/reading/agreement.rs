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

use crate::error::Result;
use crate::reading::second::FIGURES;
use crate::record::db::Conn;
use crate::record::tables::Pair;
use crate::record::tables::SecondReading;

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
    pub async fn agreement(&mut self) -> Result<Agreement> {
        Ok(Agreement::of(&self.find("ORDER BY id", &[]).await?))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::record::row::Kept;
    use crate::words::Drawn;

    /// A finished reading whose figures are all `second` where the first reader's were all `first`.
    fn finished(first: f64, second: f64, verdicts: [&str; 2]) -> SecondReading {
        let pair = Pair {
            verdict: verdicts.map(str::to_owned),
            rules: vec![("asks".to_owned(), ["met", "cannot_tell"].map(str::to_owned))],
            figures: FIGURES.map(|id| (id.to_owned(), [Some(first), Some(second)])).to_vec(),
            seconds: vec![("spo2".to_owned(), [80.0, 10.0, 0.0, 10.0])],
            ..Pair::default()
        };
        SecondReading {
            id: 0,
            act: 0,
            night: 0,
            how: Drawn::Random,
            drawn_by: String::new(),
            drawn_at: 0,
            draw: Kept(None),
            reader: None,
            begun_at: None,
            seen_before: 0,
            criteria_sha256: None,
            steps: Kept(Vec::new()),
            here: 0,
            verdict: None,
            scores: String::new(),
            before: String::new(),
            finished_at: Some(0),
            pair: Kept(Some(pair)),
            withdrawn_at: None,
            withdrawn_because: None,
        }
    }

    #[test]
    fn few_pairs_have_no_limits_and_no_intervals() {
        let mut all: Vec<SecondReading> =
            (0..9_u8).map(|n| finished(0.0, f64::from(n), ["partial", "repeat"])).collect();
        let few = Agreement::of(&all);
        assert_eq!((few.figures[0].limits, few.figures[0].bias()), (None, Some(4.0)));
        assert_eq!(few.seconds[0].interval(), None);
        all.push(finished(0.0, 9.0, ["sufficient", "sufficient"]));
        let found = Agreement::of(&all);
        let limits = found.figures[0].limits.unwrap();
        // Differences 0 to 9: mean 4.5, standard deviation sqrt(82.5 / 9), by hand.
        let half = 1.96 * (82.5_f64 / 9.0).sqrt();
        assert!((limits.mean - 4.5).abs() < 1e-12);
        assert!((limits.limits.high - 4.5 - half).abs() < 1e-9);
        assert_eq!((found.verdict.count(), found.verdict.same()), (10, 1));
    }

    /// Shares by hand: 90 of 100 s the same; chance gives 0.9 · 0.8 + 0.1 · 0.2 = 0.74, so kappa is 0.16 / 0.26.
    #[test]
    fn seconds_are_pooled_and_have_a_kappa() {
        let found = Agreement::of(&[finished(1.0, 1.0, ["partial", "partial"])]);
        let spo2 = &found.seconds[0];
        assert_eq!(spo2.share(), Some(0.9));
        assert!((spo2.kappa.unwrap().kappa - 0.16 / 0.26).abs() < 1e-12);
        assert_eq!(found.verdict.kappa, None, "one answer only");
        assert_eq!(found.rules[0].table[0][2], 1);
    }

    /// Ten nights, eight alike in two classes four each, by hand: agreement 0.8, chance 0.5, kappa 0.6.
    #[test]
    fn kappa_of_verdicts_has_an_interval_from_ten_nights() {
        let one = |first, second| finished(0.0, 0.0, [first, second]);
        let (good, bad) = ("sufficient", "repeat");
        let mut all: Vec<SecondReading> =
            (0..4).flat_map(|_| [one(good, good), one(bad, bad)]).collect();
        all.extend([one(good, bad), one(bad, good)]);
        let verdict = Agreement::of(&all).verdict;
        let kappa = verdict.kappa.unwrap();
        assert!((kappa.kappa - 0.6).abs() < 1e-12);
        let interval = kappa_interval(&kappa, 10).unwrap();
        // Standard error sqrt(0.8 · 0.2 / 10) / 0.5, which holds for even margins: 0.25298.
        assert!((interval.low - (0.6 - 1.96 * 0.252_982_212_813_47)).abs() < 1e-9);
        assert!((interval.high - 1.0).abs() < 1e-12, "no kappa lies over 1");
        assert_eq!(kappa_interval(&kappa, 9), None);
    }
}

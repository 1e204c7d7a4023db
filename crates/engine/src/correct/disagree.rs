//! What does not agree, in words: every anchor with its number and time, and which stands against which.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt::Write as _;

use super::bounds::Bounds;
use super::known::Known;
use super::words::both_units;
use super::{Anchor, AnchorKind, CorrectedCo2, Model};
use crate::time::Clock;

/// How the sentence begins by which a disagreement is known again.
pub(crate) const DO_NOT_AGREE: &str = "do not agree:";

/// So many are named on either side of "against"; the rest are counted, and stand with their numbers before it.
const NAMED: usize = 8;

/// What is known of the sensor, and which of it stands against which.
struct Quarrels<'a> {
    bounds: &'a Bounds,
    anchors: &'a [Anchor],
    /// Every two, each by its place. What several tell together is not here where it says no more than two of
    /// those several do, or than fewer of them.
    pairs: Vec<(usize, usize)>,
}

impl<'a> Quarrels<'a> {
    fn of(bounds: &'a Bounds, anchors: &'a [Anchor]) -> Self {
        let all = bounds.quarrels().iter().copied();
        let single = |i: usize| !bounds.known()[i].of_several();
        let (mut pairs, several): (Vec<_>, Vec<_>) =
            all.partition(|&(i, j)| single(i) && single(j));
        let alone: BTreeSet<(usize, usize)> = pairs.iter().copied().collect();
        let mut quarrels = Self { bounds, anchors, pairs: Vec::new() };
        let mut several: Vec<(Vec<usize>, (usize, usize))> =
            several.into_iter().map(|two| (quarrels.involved(two), two)).collect();
        several.sort_by_key(|(involved, _)| involved.len());
        let mut told: BTreeSet<Vec<usize>> = BTreeSet::new();
        for (involved, two) in several {
            let by_two =
                involved.iter().any(|&a| involved.iter().any(|&b| alone.contains(&(a, b))));
            if !by_two && !told.iter().any(|fewer| fewer.iter().all(|one| involved.contains(one))) {
                told.insert(involved);
                pairs.push(two);
            }
        }
        quarrels.pairs = pairs;
        quarrels
    }

    /// The single ones that something stands on, or itself.
    fn behind(&self, i: usize) -> Vec<usize> {
        let known = self.bounds.known();
        if !known[i].of_several() {
            return vec![i];
        }
        (0..known.len()).filter(|&j| known[i].stands_on(&known[j])).collect()
    }

    /// The single ones that two stand on.
    fn involved(&self, (i, j): (usize, usize)) -> Vec<usize> {
        let both: BTreeSet<usize> = self.behind(i).into_iter().chain(self.behind(j)).collect();
        both.into_iter().collect()
    }

    /// The anchor of a single one; `None` of what unchecked sensors err by.
    fn anchor(&self, i: usize) -> Option<&'a Anchor> {
        let known = self.bounds.known();
        let (kind, _) = known[i].anchor()?;
        let of_kind = |one: &&Known| one.anchor().is_some_and(|(of, _)| of == kind);
        let before = known[..i].iter().filter(of_kind).count();
        self.anchors.iter().filter(|anchor| anchor.kind == kind).nth(before)
    }

    fn is_sensor(&self, i: usize) -> bool {
        self.bounds.known()[i].is_unchecked()
    }

    fn has_sensor(&self) -> bool {
        self.pairs.iter().any(|&(i, j)| self.is_sensor(i) || self.is_sensor(j))
    }

    /// Every anchor, in order of time, that stands against something or does not.
    fn parties(&self) -> (Vec<&'a Anchor>, Vec<&'a Anchor>) {
        let of: BTreeSet<usize> = self.pairs.iter().flat_map(|&two| self.involved(two)).collect();
        let is = |anchor: &&Anchor| {
            let same = |i: usize| self.anchor(i).is_some_and(|one| std::ptr::eq(one, *anchor));
            of.iter().any(|&i| same(i))
        };
        self.anchors.iter().partition(is)
    }

    /// One, or several together, as it is named beside others.
    fn name(&self, i: usize, clock: &Clock) -> String {
        if self.is_sensor(i) {
            return "what sensors at the ear are known to err by".into();
        }
        let behind = self.behind(i);
        let names = behind.iter().filter_map(|&one| self.anchor(one)).map(|one| named(one, clock));
        let together = if behind.len() > 1 { " together" } else { "" };
        format!("{}{together}", listed(names.collect()))
    }

    /// Which stands against which, those that stand against the same in one clause and the one that stands
    /// against most first.
    fn against(&self, clock: &Clock) -> String {
        let mut others: BTreeMap<usize, BTreeSet<usize>> = BTreeMap::new();
        for &(i, j) in &self.pairs {
            others.entry(i).or_default().insert(j);
            others.entry(j).or_default().insert(i);
        }
        let mut clauses = Vec::new();
        loop {
            // How sensors err is what is stood against, never who stands.
            let heads = others.iter().filter(|(i, of)| !self.is_sensor(**i) && !of.is_empty());
            let most = heads.reduce(|a, b| if b.1.len() > a.1.len() { b } else { a });
            let Some((_, against)) = most else { break };
            let against = against.clone();
            let alike = others.iter().filter(|(i, of)| **of == against && !self.is_sensor(**i));
            let alike: Vec<usize> = alike.map(|(i, _)| *i).collect();
            let names = |of: Vec<usize>| self.names(of, clock);
            clauses.push(format!(
                "{} against {}",
                names(alike.clone()),
                names(against.iter().copied().collect())
            ));
            for i in &alike {
                others.remove(i);
            }
            for of in others.values_mut() {
                of.retain(|i| !alike.contains(i));
            }
        }
        clauses.join("; ")
    }

    /// Names in order of time, how sensors err last.
    fn names(&self, mut of: Vec<usize>, clock: &Clock) -> String {
        let taken_s = |i: usize| {
            let first = self.behind(i).into_iter().find_map(|one| self.anchor(one));
            first.map_or(f64::INFINITY, |anchor| anchor.taken_s)
        };
        of.sort_by(|&a, &b| taken_s(a).total_cmp(&taken_s(b)));
        listed(of.into_iter().map(|i| self.name(i, clock)).collect())
    }

    /// Who does not agree.
    fn lead(&self, parties: &[&Anchor]) -> String {
        let count = |kind| parties.iter().filter(|anchor| anchor.kind == kind).count();
        let of = |kind: AnchorKind| match count(kind) {
            0 => None,
            1 => Some(format!("the {}", kind.words())),
            _ => Some(format!("the {}", kind.plural())),
        };
        let (gases, checks) = (of(AnchorKind::BloodGas), of(AnchorKind::GasCheck));
        let sensor = match (&gases, &checks) {
            (Some(_), None) => Some("the sensor"),
            (None, Some(_)) => Some("what sensors are known to err by"),
            _ => None,
        };
        let sensor = sensor.filter(|_| self.has_sensor()).map(str::to_owned);
        let who: Vec<String> = [gases, checks, sensor].into_iter().flatten().collect();
        let who = who.join(" and ");
        who.strip_prefix("the ").map_or_else(|| who.clone(), |rest| format!("The {rest}"))
    }
}

/// What does not agree, in one sentence with every number and time, which stands against which where there are
/// more than two, and what follows; `None` where all agrees.
pub(super) fn disagreement(bounds: &Bounds, anchors: &[Anchor], clock: &Clock) -> Option<String> {
    let quarrels = Quarrels::of(bounds, anchors);
    let (parties, rest) = quarrels.parties();
    if parties.is_empty() {
        return None;
    }
    let told =
        |of: &[&Anchor]| of.iter().map(|anchor| told(anchor, clock)).collect::<Vec<_>>().join("; ");
    let mut words = format!("{} {DO_NOT_AGREE} {}", quarrels.lead(&parties), told(&parties));
    // Of two, which stands against which needs no saying.
    let two = parties.len() + usize::from(quarrels.has_sensor()) == 2;
    if two && quarrels.has_sensor() {
        words += ", more than sensors at the ear are known to err by";
    }
    words.push('.');
    if !two {
        let _ = write!(words, " Which contradicts which: {}.", quarrels.against(clock));
    }
    if !rest.is_empty() {
        let _ = write!(words, " Beside these, and contradicting none: {}.", told(&rest));
    }
    words += &follows(&quarrels, clock);
    Some(words)
}

/// What follows for the band, and of the checks that bear on nothing.
fn follows(quarrels: &Quarrels, clock: &Clock) -> String {
    let (bounds, aside) = (quarrels.bounds, quarrels.bounds.aside());
    let none = if aside.is_empty() { "None" } else { "No blood gas" };
    let held = if bounds.agree() {
        String::new()
    } else {
        format!(
            " {none} is left out: the band around CO2 holds each, and what they would answer differently is \
             left open."
        )
    };
    let (do_not, move_nothing) =
        if aside.len() == 1 { ("does not", "moves nothing") } else { ("do not", "move nothing") };
    let gases = quarrels.anchors.iter().filter(|one| one.kind == AnchorKind::BloodGas).count();
    let blood = if gases == 1 { "the blood gas" } else { "the blood gases" };
    let checks = if aside.is_empty() {
        String::new()
    } else {
        format!(
            " A check tells the electrode and not the blood: {}, which {do_not} agree with {blood}, \
             {move_nothing}.",
            quarrels.names(aside.to_vec(), clock)
        )
    };
    held + &checks
}

fn told(anchor: &Anchor, clock: &Clock) -> String {
    let at = clock.label(anchor.taken_s, false);
    let (reference, observed) = (both_units(anchor.reference_kpa), both_units(anchor.observed_kpa));
    match anchor.kind {
        AnchorKind::BloodGas => {
            format!("at {at} the blood gas was {reference} and the sensor read {observed}")
        }
        AnchorKind::GasCheck => {
            format!("at {at} the sensor read {observed} in a gas of {reference}")
        }
    }
}

fn named(anchor: &Anchor, clock: &Clock) -> String {
    let at = clock.label(anchor.taken_s, false);
    match anchor.kind {
        AnchorKind::BloodGas => format!("the blood gas of {:.2} kPa at {at}", anchor.reference_kpa),
        AnchorKind::GasCheck => format!("the gas check at {at}"),
    }
}

/// `a, b and c`; beyond the first few they are counted.
fn listed(mut names: Vec<String>) -> String {
    let more = names.len().saturating_sub(NAMED);
    if more > 0 {
        names.truncate(NAMED);
        names.push(format!("{more} more"));
    }
    match names.split_last() {
        Some((last, rest)) if !rest.is_empty() => format!("{} and {last}", rest.join(", ")),
        Some((last, _)) => last.clone(),
        None => String::new(),
    }
}

impl CorrectedCo2 {
    /// By what CO2 was corrected, and what of that does not agree: `by blood gases that do not agree`.
    pub fn corrected_by(&self) -> String {
        let count = |kind| self.anchors.iter().filter(|anchor| anchor.kind == kind).count();
        let (gases, checks) = (count(AnchorKind::BloodGas), count(AnchorKind::GasCheck));
        let (kind, what, one) = match (self.model, gases, checks) {
            (Model::None, ..) => return "for temperature and metabolism".into(),
            (_, 0, 1) => (AnchorKind::GasCheck, "a gas check", true),
            (_, 0, _) => (AnchorKind::GasCheck, "gas checks", false),
            (Model::Additive, 1, _) => (AnchorKind::BloodGas, "a blood gas and gas checks", false),
            (_, 1, _) => (AnchorKind::BloodGas, "a blood gas", true),
            _ => (AnchorKind::BloodGas, "blood gases", false),
        };
        let quarrels = Quarrels::of(&self.bounds, &self.anchors);
        if quarrels.pairs.is_empty() {
            return format!("by {what}");
        }
        let is = |i: usize| quarrels.anchor(i).is_some_and(|anchor| anchor.kind == kind);
        let among = quarrels.pairs.iter().any(|&(i, j)| is(i) && is(j));
        let with = match kind {
            _ if among => "",
            AnchorKind::BloodGas if quarrels.has_sensor() => " with the sensor",
            AnchorKind::BloodGas => " with the gas checks",
            AnchorKind::GasCheck => " with what sensors are known to err by",
        };
        let verb = if one { "does" } else { "do" };
        format!("by {what} that {verb} not agree{with}")
    }
}

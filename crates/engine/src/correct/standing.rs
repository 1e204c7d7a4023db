//! What of all that is known of the error bears on the band, and what stands aside.
//!
//! Two things that are known **agree** where their ranges meet at every moment of the night and, where one
//! is a blood gas, the other's range holds it at its own moment. Two that do not agree lie **one below the
//! other**: that is what the hull over those that do not agree is made of. From below, the band is bounded
//! by those that have none below them, which all agree, so by their intersection; from above likewise. So
//!
//! - where all agrees the band is the intersection of everything;
//! - where it does not, it reaches from the lowest group of those that agree to the highest. What lies
//!   between two others, or agrees with all of a group, widens nothing;
//! - a blood gas lies in it at its moment, for what bounds the band has nothing on the wrong side of it;
//! - no order of the anchors, and none entered twice, changes it: nothing is asked but which lies below which.
//!
//! "All of a group" is well defined because "below" is transitive among blood gases (of one spread) and what
//! unchecked sensors err by: ranges widen as the root of time, so a third thing never lies nearer to the
//! outer two than they to each other. The hull over all maximal sets that agree would be another way to
//! read it, but one that widens when a gas agrees with a part of a second group, and whose number of sets
//! has no useful limit; this one needs every two things compared once.
//!
//! **A gas check does not observe the blood.** It tells the electrode, a blood gas the electrode and this
//! patient's skin. How far those lie apart between patients is in the check's range (`skin_sd_kpa`); a check
//! beyond it is one that is wrong, or a patient far from all others, or a gas that is wrong, and of the three
//! only the gas is of what is asked. So a check that does not agree with the blood gases stands aside: it
//! is told with both numbers and bounds nothing. What several anchors tell together is used where those
//! several agree and, against any other, on the side where nothing contradicts it.

use super::bounds::{Spread, moments};
use super::known::Known;
use crate::unit::TOLERANCE;

/// Which of all that is known bounds the band, and which does not agree; each by its place.
#[derive(Clone, Debug, Default, PartialEq)]
pub(super) struct Standing {
    /// What bounds the band from below.
    pub(super) lowest: Vec<usize>,
    /// What bounds it from above.
    pub(super) highest: Vec<usize>,
    /// Whether every single one that bears on the band agrees with every other.
    pub(super) agree: bool,
    /// What tells how the error moved where those agree: what several tell together only where nothing that
    /// bears contradicts it.
    pub(super) moves: Vec<usize>,
    /// The single ones that do not agree with something.
    pub(super) apart: Vec<usize>,
    /// Those of them that therefore bear on nothing.
    pub(super) aside: Vec<usize>,
    /// Every two of what says something that do not agree, the first of both first.
    pub(super) quarrels: Vec<(usize, usize)>,
}

impl Standing {
    pub(super) fn of(known: &[Known], spread: &Spread, span_s: (f64, f64)) -> Self {
        let order = Order::of(known, spread, span_s);
        let Heard { bears, against } = Heard::of(known, &order);
        let single = |i: usize| !known[i].of_several();
        // A single anchor yields to a single one only; what several tell yields to either.
        let ends = |below: &dyn Fn(usize, usize) -> bool| -> Vec<usize> {
            let yields = |i: usize| bears.iter().any(|&j| (single(j) || !single(i)) && below(j, i));
            bears.iter().copied().filter(|&i| !yields(i)).collect()
        };
        let contradicted = |i: usize| bears.iter().any(|&j| order.apart(i, j));
        let singles = || bears.iter().filter(|&&i| single(i));
        // What checks tell together yields to what sensors are known to err by, without a word.
        let silent = |i: usize, j: usize| known[i].is_shape() && known[j].is_unchecked();
        let heard = || bears.iter().chain(&against).copied();
        let two = heard().flat_map(|i| heard().map(move |j| (i, j))).filter(|(i, j)| i < j);
        let disagree =
            |&(i, j): &(usize, usize)| order.apart(i, j) && !silent(i, j) && !silent(j, i);
        let quarrels: Vec<(usize, usize)> = two.filter(disagree).collect();
        let marked: Vec<usize> = quarrels.iter().flat_map(|&(i, j)| [i, j]).collect();
        let named = |i: usize| marked.iter().any(|&j| j == i || known[j].stands_on(&known[i]));
        let apart: Vec<usize> = (0..known.len()).filter(|&i| single(i) && named(i)).collect();
        Self {
            lowest: ends(&|j, i| order.below(j, i)),
            highest: ends(&|j, i| order.below(i, j)),
            agree: !singles().any(|&i| singles().any(|&j| order.apart(i, j))),
            moves: bears.iter().copied().filter(|&i| single(i) || !contradicted(i)).collect(),
            aside: apart.iter().copied().filter(|i| against.contains(i)).collect(),
            apart,
            quarrels,
        }
    }
}

/// What says something, each by its place: what several tell together only where those several agree.
struct Heard {
    /// What bears on the band.
    bears: Vec<usize>,
    /// What gas checks say against the blood gases.
    against: Vec<usize>,
}

impl Heard {
    fn of(known: &[Known], order: &Order) -> Self {
        let all = || 0..known.len();
        let behind = |i: usize| all().filter(move |&j| known[i].stands_on(&known[j]));
        let sound: Vec<usize> =
            all().filter(|&i| behind(i).all(|a| behind(i).all(|b| !order.apart(a, b)))).collect();
        let contradicted = |i: usize| {
            let mut blood = sound.iter().filter(|&&j| known[j].of_blood());
            known[i].of_checks() && blood.any(|&gas| order.apart(i, gas))
        };
        let against: Vec<usize> = sound.iter().copied().filter(|&i| contradicted(i)).collect();
        // What stands on a check that does is not heard.
        let rests = |i: usize| behind(i).any(|check| against.contains(&check));
        let heard = |of: &[usize]| of.iter().copied().filter(|&i| !rests(i)).collect::<Vec<_>>();
        let mut bears = heard(&sound);
        bears.retain(|i| !against.contains(i));
        Self { bears, against: heard(&against) }
    }
}

/// Which of what is known lies below which.
struct Order {
    count: usize,
    below: Vec<bool>,
}

impl Order {
    fn of(known: &[Known], spread: &Spread, span_s: (f64, f64)) -> Self {
        let count = known.len();
        let lies = |i: usize, j: usize| {
            let (a, b) = (&known[i], &known[j]);
            // The skin is the same for two that checks alone tell.
            let missed = match (a.electrode(), b.electrode()) {
                (Some(a), Some(b)) => missed(&a, &b, spread, span_s),
                _ => missed(a, b, spread, span_s),
            };
            missed || outside(a, b, spread)
        };
        let pairs = (0..count).flat_map(|i| (0..count).map(move |j| (i, j)));
        Self { count, below: pairs.map(|(i, j)| i != j && lies(i, j)).collect() }
    }

    /// Whether one lies below the other somewhere.
    fn below(&self, i: usize, j: usize) -> bool {
        self.below[i * self.count + j]
    }

    /// Whether the two do not agree.
    fn apart(&self, i: usize, j: usize) -> bool {
        self.below(i, j) || self.below(j, i)
    }
}

/// Whether the first lies wholly below the second at some moment of the night.
fn missed(a: &Known, b: &Known, spread: &Spread, span_s: (f64, f64)) -> bool {
    let below = |at_s: f64| {
        let ranges = a.level(at_s, spread).zip(b.level(at_s, spread));
        ranges.is_some_and(|(a, b)| a.1 + TOLERANCE < b.0)
    };
    if a.of_several() || b.of_several() {
        return moments(span_s.0, span_s.1).any(below);
    }
    // Two that only widen from their moments, and less and less, are nearest to missing each other at one of
    // these moments or at an end of the night.
    let moment = |known: &Known| known.anchor().map_or(0.0, |(_, point)| point.at_s);
    let inside = |at_s: f64| at_s.max(span_s.0).min(span_s.1);
    [span_s.0, span_s.1, inside(moment(a)), inside(moment(b))].into_iter().any(below)
}

/// Whether a blood gas lies above the first, or below the second, at its own moment.
fn outside(a: &Known, b: &Known, spread: &Spread) -> bool {
    let above_a = match b {
        Known::Gas(gas) => {
            a.level(gas.at_s, spread).is_some_and(|range| range.1 + TOLERANCE < gas.value)
        }
        _ => false,
    };
    let below_b = match a {
        Known::Gas(gas) => {
            b.level(gas.at_s, spread).is_some_and(|range| gas.value + TOLERANCE < range.0)
        }
        _ => false,
    };
    above_a || below_b
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::correct::bounds::{Bounds, Range};
    use crate::correct::{Anchor, AnchorKind, model};
    use crate::criteria::{CorrectCriteria, shipped};
    use proptest::prelude::*;

    const SPAN_S: (f64, f64) = (0.0, 28_800.0);

    /// Blood gas or check, hours into the night, and what has to be added to the sensor, kPa.
    type Told = (bool, f64, f64);

    fn limits() -> CorrectCriteria {
        shipped("adult-air").unwrap().correct
    }

    fn anchors(told: &[Told]) -> Vec<Anchor> {
        let anchor = |&(blood, hours, error_kpa): &Told| Anchor {
            kind: if blood { AnchorKind::BloodGas } else { AnchorKind::GasCheck },
            taken_s: hours * 3600.0,
            at_s: hours * 3600.0,
            reference_kpa: 6.0 + error_kpa,
            observed_kpa: 6.0,
            sd_kpa: if blood { 0.28 } else { 0.1 },
        };
        let mut anchors: Vec<Anchor> = told.iter().map(anchor).collect();
        anchors.sort_by(|a, b| a.at_s.total_cmp(&b.at_s));
        anchors
    }

    fn known(told: &[Told]) -> Vec<Known> {
        model::known(&anchors(told), 1.0, &limits())
    }

    fn bounds(known: Vec<Known>) -> Bounds {
        Bounds::of(known, model::spread(&limits()), SPAN_S)
    }

    /// Every range of the night that is asked for: levels, and changes from two moments.
    fn ranges(bounds: &Bounds) -> Vec<Range> {
        let all = || (0..=48).map(|i| f64::from(i) * 600.0);
        let changes = |from_s: f64| all().map(move |at_s| bounds.change(at_s, from_s));
        all()
            .map(|at_s| bounds.level(at_s))
            .chain(changes(1800.0))
            .chain(changes(16_000.0))
            .collect()
    }

    fn never_wider(more: &[Told], less: &[Told]) -> Result<(), TestCaseError> {
        let (more, less) = (ranges(&bounds(known(more))), ranges(&bounds(known(less))));
        for (i, (new, old)) in more.iter().zip(&less).enumerate() {
            prop_assert!(new.0 >= old.0 - 1e-9 && new.1 <= old.1 + 1e-9, "{i}: {old:?} {new:?}");
        }
        Ok(())
    }

    /// What an anchor brings that bears, and what stood before and bears, where the two do not agree.
    fn quarrels(all: &[Told], new: Told) -> Vec<(Known, Known)> {
        let (of, single) = (known(all), known(&[new]));
        let single = single.iter().find(|one| one.anchor().is_some()).unwrap();
        let point = single.anchor();
        let brought = |one: &Known| one.anchor() == point || one.stands_on(single);
        let spread = model::spread(&limits());
        let order = Order::of(&of, &spread, SPAN_S);
        let bears = Heard::of(&of, &order).bears;
        let mut found = Vec::new();
        for &i in bears.iter().filter(|&&i| brought(&of[i])) {
            let against = bears.iter().filter(|&&j| !brought(&of[j]) && order.apart(i, j));
            found.extend(against.map(|&j| (of[i], of[j])));
        }
        found
    }

    /// By the published spreads alone: 0.28 kPa of a gas, 0.408 of an unchecked sensor at the start, and 0.54
    /// in eight hours of drift; 1.96 of each (`aarrestad-2016`, `conway-2019`). The first is the sensor.
    fn agree(a: Option<Told>, b: Told) -> bool {
        let drift = |hours: f64| 0.54 * 0.54 * hours.abs() / 8.0;
        let (apart_kpa, variance) = match a {
            None => (b.2, 0.408 * 0.408 + drift(b.1)),
            Some(a) => (a.2 - b.2, 0.28 * 0.28 + drift(a.1 - b.1)),
        };
        apart_kpa.abs() <= 1.96 * variance.sqrt()
    }

    /// The largest sets of blood gases and the sensor that all agree.
    fn groups(gases: &[Told]) -> Vec<Vec<Option<Told>>> {
        let all: Vec<Option<Told>> =
            std::iter::once(None).chain(gases.iter().copied().map(Some)).collect();
        let two = |a: Option<Told>, b: Option<Told>| match (a, b) {
            (a, Some(b)) | (Some(b), a) => agree(a, b),
            (None, None) => true,
        };
        let sets = (1_u32..1 << all.len())
            .map(|set| -> Vec<Option<Told>> {
                let chosen = all.iter().enumerate().filter(|(i, _)| set >> i & 1 == 1);
                chosen.map(|(_, one)| *one).collect()
            })
            .filter(|set| set.iter().all(|&a| set.iter().all(|&b| two(a, b))));
        let full = |set: &Vec<Option<Told>>| {
            let more = |one: &Option<Told>| !set.contains(one) && set.iter().all(|&a| two(a, *one));
            !all.iter().any(more)
        };
        sets.filter(full).collect()
    }

    fn gas() -> impl Strategy<Value = Told> {
        (0.2..7.8_f64, -2.2..2.2_f64).prop_map(|(hours, error)| (true, hours, error))
    }

    fn check() -> impl Strategy<Value = Told> {
        (-1.0..9.0_f64, -0.8..0.8_f64).prop_map(|(hours, error)| (false, hours, error))
    }

    fn any_anchor() -> impl Strategy<Value = Told> {
        prop_oneof![gas(), check()]
    }

    /// The sensor reads 2 kPa too little by an early gas, and so it does by a late one: the two say one thing.
    #[test]
    fn a_second_gas_that_agrees_with_a_far_first_one_narrows() {
        let (first, second) = ((true, 1.0, 2.0), (true, 7.0, 2.1));
        never_wider(&[first, second], &[first]).unwrap();
        let high = |told: &[Told]| bounds(known(told)).level(SPAN_S.1).1;
        assert!(high(&[first, second]) < high(&[first]) - 0.3);
        // A third that lies between the two groups is held by both.
        never_wider(&[first, second, (true, 4.0, 1.0)], &[first, second]).unwrap();
    }

    /// A gas 1.2 kPa off at 7.5 h is within what unchecked sensors err by; a check that passed at the start
    /// says that the electrode was right.
    #[test]
    fn a_check_that_does_not_agree_with_the_gas_stands_aside_and_is_told() {
        let (gas, check) = ((true, 7.5, 1.2), (false, -0.2, 0.0));
        let (with, without) = (bounds(known(&[check, gas])), bounds(known(&[gas])));
        assert_eq!(ranges(&with), ranges(&without));
        assert_eq!((with.quarrels().len(), with.aside().len()), (1, 1));
        assert!(with.agree());
        let near = bounds(known(&[check, (true, 7.5, 0.9)]));
        assert_eq!((near.quarrels().len(), near.aside().len()), (0, 0));
    }

    proptest! {
        #![proptest_config(ProptestConfig::with_cases(160))]

        /// No order, and nothing said twice, changes a range.
        #[test]
        fn the_order_and_a_second_mention_change_nothing(
            told in prop::collection::vec(any_anchor(), 0..6), turns in 0_usize..40,
            backwards in any::<bool>(),
        ) {
            let known = known(&told);
            let mut turned = known.clone();
            turned.rotate_left(turns % known.len());
            if backwards {
                turned.reverse();
            }
            let mut twice = known.clone();
            twice.extend(known.iter().filter(|one| one.anchor().is_some()));
            let before = ranges(&bounds(known));
            prop_assert_eq!(&before, &ranges(&bounds(turned)));
            prop_assert_eq!(&before, &ranges(&bounds(twice)));
        }

        /// A blood gas is never outvoted.
        #[test]
        fn every_blood_gas_lies_in_the_band_at_its_moment(
            told in prop::collection::vec(any_anchor(), 1..7),
        ) {
            let bounds = bounds(known(&told));
            for (_, hours, error_kpa) in told.iter().filter(|(blood, ..)| *blood) {
                let (low, high) = bounds.level(hours * 3600.0);
                prop_assert!(low - 1e-5 <= *error_kpa && *error_kpa <= high + 1e-5, "{low} {error_kpa} {high}");
            }
        }

        /// What agrees with all of a group of those that agree, and with what two of them tell together,
        /// widens nothing, whatever else does not agree.
        #[test]
        fn a_gas_that_agrees_with_a_group_never_widens_the_band(
            told in prop::collection::vec(gas(), 0..6), new in gas(),
        ) {
            let mut all = told.clone();
            all.push(new);
            let joins = groups(&told).iter().any(|group| group.iter().all(|&one| agree(one, new)));
            let together = quarrels(&all, new).iter().all(|(_, before)| !before.of_several());
            if joins && together {
                never_wider(&all, &told)?;
            }
        }

        /// A gas check that agrees with the other checks and with what sensors err by widens nothing, whatever
        /// the blood gases say.
        #[test]
        fn a_check_never_widens_the_band_whatever_the_gases_say(
            gases in prop::collection::vec(gas(), 0..5), checks in prop::collection::vec(check(), 0..3),
            new in check(),
        ) {
            let told: Vec<Told> = gases.into_iter().chain(checks).collect();
            let mut all = told.clone();
            all.push(new);
            let with_checks = quarrels(&all, new)
                .iter()
                .any(|(a, b)| b.of_checks() || (b.is_unchecked() && !a.is_shape()));
            if !with_checks {
                never_wider(&all, &told)?;
            }
        }
    }
}

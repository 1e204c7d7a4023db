//! What the figures of agreement say, in words.

use engine::stats::Kappa;
use store::reading::agreement::Agreement;
use store::reading::agreement::Classes;
use store::reading::agreement::FEWEST;
use store::reading::agreement::kappa_interval;

/// How everything is counted.
pub(super) const HOW: [&str; 6] = [
    "A pair is one night read by two people, the second from the night as it came and without a look at the first reading. The first is its latest signed report, or what was judged by hand when nothing is signed, as it stood when the second reading was finished. Both are judged by the same release, under the same criteria and question; pairs where those changed in between are counted apart.",
    "Kappa is agreement beyond chance: 1 is full, 0 is what chance alone gives (cohen-1960); linear weights count a neighbouring verdict half (cohen-1968). Its interval is of the large-sample standard error (fleiss-cohen-everitt-1969). Where both readers gave every night the same one answer, kappa cannot be computed. Under full agreement it has no interval.",
    "The bias is the mean of second less first; the limits, 1.96 standard deviations on each side of it, hold 95 % of the differences if those are spread normally, and the intervals say how sure bias and limits are (bland-altman-1986).",
    "With fewer than 10 pairs the points are shown, and no limits and no intervals: common practice, no source.",
    "What is believed is compared second by second, in the time that lies in either reader's period. Seconds of one night are not independent, so that their kappa has no interval; the interval of the share is Student's over nights.",
    "A sample is drawn by its seed: the SHA-256 of the text SEED:NIGHT is made for each night that was read once and not yet chosen, and the nights with the lowest are taken. Seed and nights are kept with the reading.",
];

/// The name of a figure, its unit and the decimals it is given with.
pub(super) fn figure(id: &str) -> (&'static str, &'static str, usize) {
    match id {
        "spo2.odi3" => ("Falls of 3 % from the peak", "/h", 1),
        "spo2.odi4" => ("Falls of 4 % from the peak", "/h", 1),
        "spo2.time_below_90" => ("Time with SpO2 below 90 %", "%", 1),
        "spo2.mean" => ("Mean SpO2", "%", 1),
        "tcpco2.median" => ("Median CO2", "kPa", 2),
        "tcpco2.sustained10" => ("Highest CO2 held for 10 min", "kPa", 2),
        _ => ("Believed hours", "h", 2),
    }
}

/// A number with the typographic minus.
pub(super) fn number(value: f64, decimals: usize) -> String {
    let text = format!("{value:.decimals$}");
    let nought = text.trim_start_matches('-').chars().all(|sign| matches!(sign, '0' | '.'));
    if nought { text.trim_start_matches('-').to_owned() } else { text.replace('-', "\u{2212}") }
}

/// A kappa with its interval.
pub(super) fn kappa(of: Option<&Kappa>, count: u64) -> String {
    let Some(of) = of else {
        return if count == 0 { "\u{2013}" } else { "one answer only" }.to_owned();
    };
    let value = number(of.kappa, 2);
    match kappa_interval(of, count) {
        Some(one) => format!("{value} ({} to {})", number(one.low, 2), number(one.high, 2)),
        None => value,
    }
}

/// The figures first.
pub(super) fn answer(found: &Agreement) -> String {
    let verdict = &found.verdict;
    match verdict.count() {
        0 => "No night was read by two readers yet.".to_owned(),
        1 => format!(
            "One night was read by two readers, with {} verdict.",
            if verdict.same() == 1 { "the same" } else { "another" }
        ),
        count => {
            format!(
                "{count} nights were read by two readers; on {} both gave the same verdict.",
                verdict.same()
            )
        }
    }
}

/// Kappa of the verdicts, in a sentence.
pub(super) fn kappas(verdict: &Classes) -> String {
    let count = verdict.count();
    let (Some(plain), Some(weighted)) = (&verdict.kappa, &verdict.weighted) else {
        return if count == 0 {
            String::new()
        } else {
            "Kappa cannot be computed: both readers gave every night the same one verdict."
                .to_owned()
        };
    };
    let interval = match kappa_interval(plain, count) {
        Some(_) => "with 95 % intervals",
        None if count < FEWEST as u64 => "with too few nights for an interval",
        None => "and full agreement has no interval",
    };
    format!(
        "Kappa is {}, with linear weights {}, {interval}.",
        kappa(Some(plain), count),
        kappa(Some(weighted), count)
    )
}

/// How the nights were chosen, and what is not counted.
pub(super) fn facts(found: &Agreement) -> Vec<String> {
    let pairs = found.pairs.len();
    let mut says = Vec::new();
    if pairs > 0 {
        let by_hand = pairs - found.random;
        says.push(format!("{} drawn at random, {by_hand} picked by hand.", found.random));
        if pairs < FEWEST {
            says.push(format!(
                "With fewer than {FEWEST} pairs the points are shown, and no limits or intervals."
            ));
        }
    }
    if found.seen_before > 0 {
        says.push(format!("On {} the second reader had opened the night before beginning, and may have known the first reading.", found.seen_before));
    }
    if found.unlike > 0 {
        says.push(format!("{} more not counted: the first reading was held against other criteria, or asked another question, since.", found.unlike));
    }
    if found.open + found.withdrawn > 0 {
        says.push(format!("{} waiting or under way, {} withdrawn.", found.open, found.withdrawn));
    }
    says
}

/// What is said after a draw.
pub(super) fn drawn(count: usize) -> String {
    match count {
        1 => "One night was chosen for a second reading.".to_owned(),
        _ => format!("{count} nights were chosen for a second reading."),
    }
}

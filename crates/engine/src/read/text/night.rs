//! From rows on a line of time to a recording: units, order, grids, channels, marks.

use crate::finding::Finding;
use crate::finding::Weight;
use crate::read::ReadError;
use crate::read::limits;
use crate::read::text::grid::{self, Grid};
use crate::read::text::marks;
use crate::read::text::rows::{Rows, Series};
use crate::read::text::tidy::{self, Tidied};
use crate::read::text::units;
use crate::read::text::when::Line;
use crate::read::untaken::LeftOut;
use crate::recording::{Channel, Format, Quantity, Recording};
use crate::time::Stretch;
use crate::unit::Unit;

/// A channel before it is laid on a grid.
struct Track {
    id: String,
    series: Series,
    unit: Unit,
    /// Its times, in order, each once; `None`: those of the rows.
    at_us: Option<Vec<i64>>,
}

/// Makes the recording of a file of `bytes`; hash and monitor are left for the caller.
pub(super) fn recording(
    mut rows: Rows,
    line: &Line,
    bytes: usize,
    (mut findings, left_out): (Vec<Finding>, &mut Vec<LeftOut>),
) -> Result<Recording, ReadError> {
    let start_us = line.at_us.iter().min().copied().unwrap_or(0);
    let clock = line.clock(start_us)?;
    let mut tracks = tracks(std::mem::take(&mut rows.series), &mut findings, left_out)?;
    let row_times = in_order(&mut tracks, &line.at_us, &mut findings);
    let base = grid::grid(&row_times, bytes)?;
    let mut channels = Vec::new();
    let mut cells = 0;
    let shared = tracks.iter().any(|track| track.at_us.is_none());
    for track in tracks {
        let lay = Lay { base: &base, row_times: &row_times, start_us, bytes, cells };
        let channel = lay.channel(track, &mut findings)?;
        cells += channel.samples.len();
        channels.push(channel);
    }
    if shared {
        tell_grid(&base, &row_times, start_us, None, &mut findings);
    }
    let seconds = |us: i64| grid::seconds(us - start_us);
    let marks = marks::marks(&rows.events, base.period_s, |row| seconds(line.at_us[row]));
    let ends = channels.iter().map(|channel| channel.time_s(channel.samples.len()));
    let marked = marks.iter().map(|mark| mark.end_s.unwrap_or(mark.start_s));
    let duration_s = ends.chain(marked).fold(0.0, f64::max);
    Ok(Recording {
        format: Format::Text,
        clock,
        duration_s,
        channels,
        marks,
        monitor: None,
        findings,
        input_sha256: String::new(),
    })
}

/// The channels worth keeping, with their units settled and their ids given.
fn tracks(
    all: Vec<Series>,
    findings: &mut Vec<Finding>,
    left_out: &mut Vec<LeftOut>,
) -> Result<Vec<Track>, ReadError> {
    let mut tracks: Vec<Track> = Vec::new();
    let mut told = Vec::new();
    for mut series in all {
        let label = series.plan.label.clone();
        if !scored(&series) && series.tally.numbers <= series.tally.bad {
            // An empty column says nothing; one of words is told.
            if series.tally.bad > 0 {
                let sentence = format!("The column `{label}` holds no numbers; it was not read.");
                findings.push(Finding::new("column_not_read", Weight::Note, sentence));
                left_out.push(LeftOut::without_numbers(&label));
            }
            continue;
        }
        mostly_numbers(&series)?;
        let (unit, finding) = units::settle(&mut series)?;
        let id = id(&series, &tracks);
        told.extend(finding);
        told.extend(series.tally.findings(&id, &label));
        if series.tally.numbers == 0 {
            let sentence = format!("`{label}` holds no number in the whole night.");
            told.push(Finding::new("no_numbers", Weight::Serious, sentence).on(id.as_str()));
        }
        tracks.push(Track { id, series, unit, at_us: None });
    }
    findings.append(&mut told);
    if tracks.iter().all(|track| track.series.tally.numbers == 0) {
        return Err(ReadError::not_understood("no column holds a number")
            .hint("say in a column map how the columns are separated"));
    }
    Ok(tracks)
}

fn scored(series: &Series) -> bool {
    matches!(series.plan.quantity, Quantity::Spo2 | Quantity::Pulse | Quantity::Tcpco2)
}

fn mostly_numbers(series: &Series) -> Result<(), ReadError> {
    let tally = &series.tally;
    match &tally.first_bad {
        Some((line, text)) if tally.bad > tally.numbers => Err(ReadError::not_understood(format!(
            "{} of {} filled cells of `{}` are no number: the first is `{text}`",
            tally.bad,
            tally.bad + tally.numbers,
            series.plan.label
        ))
        .at(format!("line {line}"))
        .hint("a column map can list the cells that mean no reading")),
        _ => Ok(()),
    }
}

/// `spo2`, `pulse`, … or a slug of the label that no other channel has.
fn id(series: &Series, before: &[Track]) -> String {
    let quantity = series.plan.quantity;
    let mut slug = quantity.id().to_owned();
    if quantity == Quantity::Other {
        slug.clear();
        for c in series.plan.label.chars() {
            match c.to_ascii_lowercase() {
                c @ ('a'..='z' | '0'..='9') => slug.push(c),
                _ if slug.ends_with('_') || slug.is_empty() => {}
                _ => slug.push('_'),
            }
        }
        slug.truncate(slug.trim_end_matches('_').len());
        if slug.is_empty() || Quantity::from_id(&slug).is_some() {
            slug.insert_str(0, if slug.is_empty() { "other" } else { "other_" });
        }
    }
    let free = |id: &String| before.iter().all(|track| &track.id != id);
    let numbered = (2..).map(|n| format!("{slug}_{n}"));
    std::iter::once(slug.clone()).chain(numbered).find(free).unwrap_or(slug)
}

/// Puts every channel's numbers in order of time; gives the times of the rows.
fn in_order(tracks: &mut [Track], at_us: &[i64], findings: &mut Vec<Finding>) -> Vec<i64> {
    let mut done = Tidied::default();
    let mut shared: Vec<&mut Vec<f64>> = Vec::new();
    for track in tracks.iter_mut() {
        let Some(rows) = &track.series.rows else {
            shared.push(&mut track.series.values);
            continue;
        };
        let mut own: Vec<i64> = rows.iter().map(|&row| at_us[row]).collect();
        done.add(tidy::tidy(&mut own, &mut [&mut track.series.values]));
        track.at_us = Some(own);
    }
    let mut row_times = at_us.to_vec();
    if shared.is_empty() {
        row_times.sort_unstable();
        row_times.dedup();
    } else {
        done.add(tidy::tidy(&mut row_times, &mut shared));
    }
    findings.extend(done.findings());
    row_times
}

/// What a channel is laid out by.
struct Lay<'a> {
    base: &'a Grid,
    row_times: &'a [i64],
    start_us: i64,
    /// Length of the file.
    bytes: usize,
    /// Samples of the channels before it.
    cells: usize,
}

impl Lay<'_> {
    /// Lays a channel on its grid.
    fn channel(&self, track: Track, findings: &mut Vec<Finding>) -> Result<Channel, ReadError> {
        let (row_times, start_us) = (self.row_times, self.start_us);
        let Track { id, series, unit, at_us } = track;
        let mut values = series.values;
        let mut own = at_us;
        if own.is_none()
            && series.tally.codes.is_empty()
            && let Some(sparse) = sparse(&values, row_times)
        {
            values.retain(|value| !value.is_nan());
            own = Some(sparse);
        }
        let made = match own.as_deref() {
            // A channel of a single row has no interval of its own: it takes the rows'.
            Some(&[start_us]) => {
                let (period_s, finding) = (self.base.period_s, self.base.finding.clone());
                Some(Grid { period_s, start_us, cells: vec![Some(0)], length: 1, finding })
            }
            Some(own) => {
                let grid = grid::grid(own, self.bytes)?;
                tell_grid(&grid, own, start_us, Some(&id), findings);
                Some(grid)
            }
            None => None,
        };
        let grid = made.as_ref().unwrap_or(self.base);
        limits::samples(self.cells + grid.length, self.bytes)?;
        let mut samples = vec![f64::NAN; grid.length];
        for (value, cell) in values.iter().zip(&grid.cells) {
            if let Some(cell) = *cell {
                samples[cell as usize] = *value;
            }
        }
        Ok(Channel {
            id,
            quantity: series.plan.quantity,
            unit,
            file_label: series.plan.label,
            file_unit: series.plan.unit,
            period_s: grid.period_s,
            offset_s: grid::seconds(grid.start_us - start_us),
            samples: samples.into(),
        })
    }
}

/// Fewer filled cells than this may stand evenly by chance.
const SPARSE_LEAST: usize = 8;

/// The times of a column that fills only every so many rows, when it keeps an interval of its own.
fn sparse(values: &[f64], row_times: &[i64]) -> Option<Vec<i64>> {
    let filled = values.iter().filter(|value| !value.is_nan()).count();
    if filled < SPARSE_LEAST || filled * 3 >= values.len() * 2 {
        return None;
    }
    let times: Vec<i64> =
        row_times.iter().zip(values).filter(|(_, v)| !v.is_nan()).map(|(us, _)| *us).collect();
    let (own, rows) = (grid::median_step(&times)?, grid::median_step(row_times)?);
    let even = times.windows(2).filter(|pair| pair[1] - pair[0] == own).count();
    (own > rows && even * 4 >= (times.len() - 1) * 3).then_some(times)
}

/// Tells how rows fit their grid, and where rows are missing.
fn tell_grid(
    grid: &Grid,
    at_us: &[i64],
    start_us: i64,
    channel: Option<&str>,
    findings: &mut Vec<Finding>,
) {
    let tie = |finding: Finding| match channel {
        Some(id) => finding.on(id),
        None => finding,
    };
    findings.extend(grid.finding.clone().map(tie));
    let placed = grid.cells.iter().flatten().count();
    let missing = grid.length - placed;
    let irregular = grid.finding.as_ref().is_some_and(|f| f.code == "rows_irregular");
    if missing == 0 || irregular {
        return;
    }
    let gap = |pair: &&[i64]| grid::seconds(pair[1] - pair[0]) > 1.5 * grid.period_s;
    let gaps = at_us.windows(2).filter(gap).count();
    let longest = at_us.windows(2).max_by_key(|pair| pair[1] - pair[0]);
    let [from, to] = longest.map_or([start_us; 2], |pair| [pair[0], pair[1]]);
    let from_s = grid::seconds(from - start_us) + grid.period_s;
    let stretch = Stretch::new(from_s, grid::seconds(to - start_us).max(from_s));
    let sentence = format!(
        "Missing rows: {missing}, in gaps: {gaps}; the longest lasts {} s.",
        (stretch.length_s() * 1e4).round() / 1e4
    );
    findings.push(tie(Finding::new("rows_missing", Weight::Note, sentence).at(stretch)));
}

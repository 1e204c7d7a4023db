//! The figures of a comparison as a file.

use engine::compare::Beside as Spread;
use engine::compare::Larger;
use engine::compare::Line;
use engine::score::Figure;

use super::Beside;
use super::Shown;
use crate::page::csv_cell;

/// One line a figure: each side's value, lowest and highest; each difference with its own; what was published.
pub(super) fn csv(beside: &Beside) -> String {
    let mut rows = vec![head(&beside.sides)];
    for group in &beside.found.groups {
        rows.extend(group.lines.iter().map(row));
    }
    let line =
        |row: Vec<String>| row.iter().map(|cell| csv_cell(cell)).collect::<Vec<_>>().join(",");
    rows.into_iter().map(line).fold(String::new(), |text, line| text + &line + "\r\n")
}

fn head(sides: &[Shown]) -> Vec<String> {
    let mut head = ["figure", "name", "unit"].map(str::to_owned).to_vec();
    for shown in sides {
        let stamp = &shown.opened.report.provenance;
        let reader = shown.side.reader.as_deref().unwrap_or("nobody by hand");
        let of = format!(
            "{} (night {}; {} {}; read by {reader})",
            shown.letter, shown.side.night.id, stamp.criteria_name, stamp.criteria_version
        );
        head.extend([of, format!("{} lowest", shown.letter), format!("{} highest", shown.letter)]);
        head.push(format!("{} believed seconds", shown.letter));
    }
    for shown in sides.iter().skip(1) {
        let name = format!("{} minus {}", shown.letter, sides[0].letter);
        head.extend([name.clone(), format!("{name} lowest"), format!("{name} highest")]);
        head.push(format!("{name} beside the published spread"));
    }
    head
}

fn row(line: &Line) -> Vec<String> {
    let unit = if line.unit.is_empty() { "s" } else { &line.unit };
    let mut row = vec![line.id.clone(), line.name.clone(), unit.to_owned()];
    for cell in &line.cells {
        match &cell.figure {
            Figure::Given { value, lowest, highest } => {
                row.extend([*value, *lowest, *highest].map(number));
            }
            Figure::Absent(_) => row.extend([String::new(), String::new(), String::new()]),
        }
        row.push(number(cell.seconds));
    }
    for difference in &line.differences {
        row.push(difference.value.map(number).unwrap_or_default());
        let bounds = difference.bounds.map(|bounds| bounds.map(number));
        row.extend(bounds.unwrap_or_default());
        row.push(spread(&difference.beside));
    }
    row
}

/// To a thousandth; an open end stays empty.
fn number(value: f64) -> String {
    if !value.is_finite() {
        return String::new();
    }
    let text = format!("{value:.3}");
    let text = text.trim_end_matches('0').trim_end_matches('.');
    if text == "-0" { "0".to_owned() } else { text.to_owned() }
}

fn spread(beside: &Spread) -> String {
    let Spread::Published(held) = beside else { return beside.words().join("; ") };
    let one = |held: &engine::compare::Held| {
        let sizes = held.against.iter().map(|(size, what, larger)| {
            let says = match larger {
                Larger::Yes => "larger than",
                Larger::No => "not larger than",
                Larger::CannotTell => "cannot tell whether larger than",
            };
            format!("{says} {what} {}", number(*size))
        });
        let sizes: Vec<String> = sizes.collect();
        format!("{}: {} ({})", sizes.join(", "), held.spread.population, held.spread.source)
    };
    held.iter().map(one).collect::<Vec<_>>().join("; ")
}

//! The differences of two readers over their means, drawn.

use store::reading::agreement::FigureAgreement;

use super::words;
use super::words::number;
use crate::plot::Axis;
use crate::plot::Fill;
use crate::plot::Plot;
use crate::plot::Shape;
use crate::plot::Sign;
use crate::plot::Stroke;

/// The plot of a figure; `None` without a pair.
pub(super) fn plot(at: usize, one: &FigureAgreement) -> Option<String> {
    let (name, unit, decimals) = words::figure(one.id);
    let points: Vec<(f64, f64)> = one
        .points
        .iter()
        .map(|(first, second)| (f64::midpoint(*first, *second), second - first))
        .collect();
    let (left, right) = ends(points.iter().map(|point| point.0))?;
    let edges = one.limits.iter().flat_map(|of| [of.low_ci.low, of.high_ci.high]);
    let (low, high) = ends(points.iter().map(|point| point.1).chain(edges).chain([0.0]))?;
    let x = Axis::numbers(&format!("mean of both readers, {unit}"), left, right);
    let y = Axis::numbers(&format!("second less first, {unit}"), low, high);
    let mut plot = Plot::new(&format!("agree-{at}"), name, &says(one, decimals), x, y);
    if let Some(of) = &one.limits {
        for band in [&of.low_ci, &of.mean_ci, &of.high_ci] {
            plot = plot.band(band.low, band.high, Fill::Wash);
        }
        plot = plot
            .level(of.limits.low, Stroke::Dashed, "lower limit")
            .level(of.mean, Stroke::Solid, "bias")
            .level(of.limits.high, Stroke::Dashed, "upper limit")
            .key(Sign::Area(Fill::Wash), "95 % intervals of bias and limits");
    } else {
        plot = plot.level(0.0, Stroke::Dotted, "none");
    }
    for (mean, difference) in points {
        let told = format!(
            "mean {}, difference {} {unit}",
            number(mean, decimals),
            number(difference, decimals)
        );
        plot = plot.point(mean, difference, Shape::Ring, &told);
    }
    Some(plot.key(Sign::Point(Shape::Ring), "a night by two readers").html())
}

fn says(one: &FigureAgreement, decimals: usize) -> String {
    let pairs = one.points.len();
    one.limits.as_ref().map_or_else(
        || format!("{pairs} pairs, too few for limits."),
        |of| {
            let [bias, low, high] =
                [of.mean, of.limits.low, of.limits.high].map(|value| number(value, decimals));
            format!("{pairs} pairs, bias {bias}, limits of agreement {low} to {high}.")
        },
    )
}

/// The lowest and the highest.
fn ends(of: impl Iterator<Item = f64>) -> Option<(f64, f64)> {
    of.fold(None, |ends: Option<(f64, f64)>, value| {
        Some(ends.map_or((value, value), |(low, high)| (low.min(value), high.max(value))))
    })
}

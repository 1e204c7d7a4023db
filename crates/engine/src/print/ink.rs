//! The few colours everything is printed in, and how far apart they must stand.

/// One set of colours, each `#rrggbb`.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub struct Inks {
    /// What is written on.
    pub paper: &'static str,
    /// The one ink: text and traces.
    pub ink: &'static str,
    /// Text of less weight.
    pub quiet: &'static str,
    /// What a rule that is met, or cannot be told, speaks of.
    pub accent: &'static str,
    /// Hatching and traces that are not believed.
    pub hatch: &'static str,
    /// Hairlines that only guide the eye.
    pub hair: &'static str,
    /// The wash over time that is not scored, and behind blocks.
    pub wash: &'static str,
}

/// By day.
pub const LIGHT: Inks = Inks {
    paper: "#fffefb",
    ink: "#1a2430",
    quiet: "#525c66",
    accent: "#9c2c12",
    hatch: "#7c838a",
    hair: "#d3cfc4",
    wash: "#f3f0e8",
};

/// By night.
pub const DARK: Inks = Inks {
    paper: "#14191f",
    ink: "#ece7dc",
    quiet: "#aab1b8",
    accent: "#ff9d7c",
    hatch: "#818a93",
    hair: "#3a434c",
    wash: "#1d242c",
};

/// On paper.
pub const PAPER: Inks = Inks {
    paper: "#ffffff",
    ink: "#151b21",
    quiet: "#4b545c",
    accent: "#8e2510",
    hatch: "#7d848b",
    hair: "#cfcfcb",
    wash: "#f3f2ee",
};

/// Contrast of two colours written `#rrggbb`, from 1 to 21; `None` when one is not so written.
///
/// # Sources
/// `wcag-2.2`
pub fn contrast(one: &str, other: &str) -> Option<f64> {
    let (a, b) = (luminance(one)?, luminance(other)?);
    Some((a.max(b) + 0.05) / (a.min(b) + 0.05))
}

fn luminance(colour: &str) -> Option<f64> {
    let digits =
        colour.strip_prefix('#').filter(|digits| digits.len() == 6 && digits.is_ascii())?;
    let channel = |at: usize| -> Option<f64> {
        let c = f64::from(u8::from_str_radix(digits.get(at..at + 2)?, 16).ok()?) / 255.0;
        Some(if c <= 0.04045 { c / 12.92 } else { libm::pow((c + 0.055) / 1.055, 2.4) })
    };
    Some(0.2126 * channel(0)? + 0.7152 * channel(2)? + 0.0722 * channel(4)?)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The formula's own vectors (`wcag-2.2`).
    #[test]
    fn contrast_is_the_published_formula() {
        for (colour, expected) in [("#777777", 4.478), ("#767676", 4.542), ("#949494", 3.033)] {
            let found = contrast(colour, "#ffffff").unwrap();
            assert!((found - expected).abs() < 5e-4, "{colour}: {found}");
        }
        assert!((contrast("#000000", "#ffffff").unwrap() - 21.0).abs() < 1e-9);
    }

    #[test]
    fn every_text_reads_and_every_graphic_is_seen() {
        for inks in [LIGHT, DARK, PAPER] {
            for under in [inks.paper, inks.wash] {
                for text in [inks.ink, inks.quiet, inks.accent] {
                    let found = contrast(text, under).unwrap();
                    assert!(found >= 4.5, "text {text} on {under}: {found}");
                }
                let found = contrast(inks.hatch, under).unwrap();
                assert!(found >= 3.0, "graphic {} on {under}: {found}", inks.hatch);
            }
        }
    }
}

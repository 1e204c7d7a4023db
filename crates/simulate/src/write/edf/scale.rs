//! From a channel's numbers to 16 bits: a decimal step, and a range that reaches below the data.

use engine::recording::Channel;
use engine::recording::Quantity;

/// A physical range and its digital one; physical values are the digital ones times a decimal step.
#[derive(Clone, Copy, Debug, PartialEq)]
pub(super) struct Scale {
    pub(super) physical_min: f64,
    pub(super) physical_max: f64,
    /// Also the code for a missing sample.
    pub(super) digital_min: i16,
    pub(super) digital_max: i16,
}

impl Scale {
    /// The scale of a channel: fixed for scored ones while their numbers fit, else the finest that fits.
    pub(super) fn of(channel: &Channel) -> Self {
        let numbers = channel.samples.iter().copied().filter(|sample| sample.is_finite());
        let (low, high) =
            numbers.fold((f64::INFINITY, f64::NEG_INFINITY), |(l, h), n| (l.min(n), h.max(n)));
        let fixed = match channel.quantity {
            // Down to -10 %, -10 /min and -1 kPa: below anything a body or a monitor shows.
            Quantity::Spo2 => Some(Self::decimal(-1000, 11_000, 2)),
            Quantity::Pulse => Some(Self::decimal(-100, 6000, 1)),
            Quantity::Tcpco2 => Some(Self::decimal(-1000, 30_000, 3)),
            _ => None,
        };
        let holds = |scale: &Self| {
            low.is_infinite() || (low > scale.physical_min && high <= scale.physical_max)
        };
        fixed.filter(holds).unwrap_or_else(|| Self::finest(low, high))
    }

    /// `digital_min` to `digital_max` in steps of one unit of the last of `places` decimals.
    fn decimal(digital_min: i16, digital_max: i16, places: i32) -> Self {
        let step = libm::pow(10.0, f64::from(-places));
        let physical = |digital: i16| field_value(f64::from(digital) * step);
        Self {
            physical_min: physical(digital_min),
            physical_max: physical(digital_max),
            digital_min,
            digital_max,
        }
    }

    /// The finest decimal step that holds the numbers and 0, with the least value kept for missing ones.
    fn finest(low: f64, high: f64) -> Self {
        if low.is_infinite() {
            return Self::decimal(-1, 1, 0);
        }
        let reach = low.abs().max(high.abs());
        let places = (-3..=4).rev().find(|places| {
            // 30 000 of 32 767 steps: room for the missing code and for rounding.
            reach * libm::pow(10.0, f64::from(*places)) <= 30_000.0
        });
        match places {
            Some(places) => Self::decimal(-30_001, 30_001, places),
            None => Self {
                physical_min: field_value(-reach * 1.001),
                physical_max: field_value(reach * 1.001),
                digital_min: -32_768,
                digital_max: 32_767,
            },
        }
    }

    /// The digital value of a number; the missing code for none.
    #[expect(clippy::cast_possible_truncation, reason = "clamped to 16 bits before the cast")]
    pub(super) fn digital(&self, physical: f64) -> i16 {
        if !physical.is_finite() {
            return self.digital_min;
        }
        let (least, most) = (f64::from(self.digital_min), f64::from(self.digital_max));
        let per_unit = (most - least) / (self.physical_max - self.physical_min);
        let exact = least + (physical - self.physical_min) * per_unit;
        exact.round().clamp(least + 1.0, most) as i16
    }
}

/// A number as a header field of 8 characters can hold it.
pub(super) fn field_text(value: f64) -> String {
    let fits = |places: &usize| format!("{value:.places$}").len() <= 8;
    let places = (0..=6).rev().find(fits).unwrap_or(0);
    let text = format!("{value:.places$}");
    let text = if places > 0 { text.trim_end_matches('0').trim_end_matches('.') } else { &text };
    text.chars().take(8).collect()
}

fn field_value(value: f64) -> f64 {
    field_text(value).parse().unwrap_or(value)
}

//! Statistics: means, percentiles, intervals, agreement.

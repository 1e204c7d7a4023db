//! Gas physiology: saturation, acid-base, temperature.

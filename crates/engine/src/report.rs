//! `report`: the judgement as plain data, ready to be printed.

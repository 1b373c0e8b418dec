//! Samples at 16 kHz → heard words with times, doubts and other readings. The recogniser is behind one trait.

pub mod heard;

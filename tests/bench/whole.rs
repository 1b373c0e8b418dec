//! One pass of whisper.cpp over a whole recording, as its own command line does it: windows of 30 s, greedy, two threads,
//! no second listening and no log. `make bench` compares the program with it; nothing else uses it.
//!
//!   whole MODEL RECORDING        writes the text to standard output

#![expect(clippy::print_stdout, reason = "a tool: its result goes to standard output")]

use std::{error::Error, path::Path};

use tugback::audio::{self, Samples};
use whisper_rs::{FullParams, SamplingStrategy, WhisperContext, WhisperContextParameters};

fn main() -> Result<(), Box<dyn Error>> {
    let args: Vec<String> = std::env::args().skip(1).collect();
    let [model, recording] = args.as_slice() else { return Err("whole MODEL RECORDING".into()) };
    whisper_rs::install_logging_hooks();
    let mut opened = audio::open(Path::new(recording), &audio::Options::default())?;
    let mut samples = Vec::new();
    while let Some(block) = opened.next_block()? {
        samples.extend(block);
    }
    let mut how = WhisperContextParameters::default();
    how.use_gpu(false);
    let context = WhisperContext::new_with_params(Path::new(model), how)?;
    let mut params = FullParams::new(SamplingStrategy::Greedy { best_of: 1 });
    params.set_n_threads(2);
    params.set_language(Some("en"));
    params.set_temperature_inc(0.0);
    params.set_print_progress(false);
    params.set_print_realtime(false);
    let mut state = context.create_state()?;
    state.full(params, &samples)?;
    for segment in state.as_iter() {
        println!("{}", segment.to_str_lossy()?.trim());
    }
    Ok(())
}

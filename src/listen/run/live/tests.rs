//! What each worker does next, step by step; and that what comes live is what comes of the whole recording.

use super::super::tests::{Counter, Loudness, Made};
use super::*;
use crate::listen::{
    run::{self, Step},
    threads::Gate,
};

/// A job whose span ends at this sample.
fn job(number: u64, to: u64) -> Job {
    let span = Span { from: 0, to, split_at_start: false, split_at_end: false, certain: 9 };
    Job { number, span, samples: Vec::new(), first: 0 }
}

fn heard() -> Listening {
    Listening::default()
}

fn flag() -> Arc<AtomicBool> {
    Arc::default()
}

fn is_up(flag: &AtomicBool) -> bool {
    flag.load(Ordering::Relaxed)
}

/// What two workers would do next.
fn next(jobs: &mut Jobs, raised: &Arc<AtomicBool>) -> String {
    match jobs.next(2, raised) {
        Some(Task::First(job)) => format!("first {}", job.number),
        Some(Task::Hand(job, _)) => format!("hand {}", job.number),
        Some(Task::Likely(job)) => format!("likely {}", job.number),
        Some(Task::Again(job, _)) => format!("again {}", job.number),
        None => "wait".to_owned(),
    }
}

#[test]
fn heard_before_it_is_over_and_handed_over_then() {
    let mut jobs = Jobs { likely: Some(Likely::Waits(job(0, 512))), ..Jobs::default() };
    assert_eq!(next(&mut jobs, &flag()), "likely 0");
    assert_eq!(next(&mut jobs, &flag()), "wait", "nobody hears it twice");
    assert!(jobs.was_heard(job(0, 512), heard()).is_none(), "the speaker may go on");
    assert_eq!(next(&mut jobs, &flag()), "wait");
    jobs.over(job(1, 512));
    assert_eq!(next(&mut jobs, &flag()), "hand 0");
    assert_eq!(next(&mut jobs, &flag()), "wait");
}

#[test]
fn over_while_it_is_heard() {
    let raised = flag();
    let mut jobs = Jobs { likely: Some(Likely::Waits(job(0, 512))), ..Jobs::default() };
    assert_eq!(next(&mut jobs, &raised), "likely 0");
    jobs.over(job(1, 512));
    jobs.not_over();
    assert!(!is_up(&raised), "it is over; what comes next does not take it back");
    assert!(jobs.was_heard(job(0, 512), heard()).is_some_and(|(job, _)| job.number == 0));
    assert_eq!(next(&mut jobs, &flag()), "wait");
}

#[test]
fn over_before_anybody_had_time() {
    let mut jobs = Jobs { likely: Some(Likely::Waits(job(0, 512))), ..Jobs::default() };
    jobs.over(job(1, 512));
    assert_eq!(next(&mut jobs, &flag()), "first 0");
    assert_eq!(next(&mut jobs, &flag()), "wait");
}

#[test]
fn the_speaker_goes_on() {
    let raised = flag();
    let mut jobs = Jobs { likely: Some(Likely::Waits(job(0, 512))), ..Jobs::default() };
    assert_eq!(next(&mut jobs, &raised), "likely 0");
    jobs.not_over();
    assert!(is_up(&raised), "nobody wants to know any more");
    assert!(jobs.was_heard(job(0, 512), heard()).is_none());
    jobs.over(job(1, 1024));
    assert_eq!(next(&mut jobs, &flag()), "first 1", "all of it is heard");
    assert_eq!(next(&mut jobs, &flag()), "wait");
    // Another end of the same breath: its last sound came late.
    let mut jobs = Jobs { likely: Some(Likely::WasHeard(job(0, 512), heard())), ..Jobs::default() };
    jobs.over(job(1, 1024));
    assert_eq!(next(&mut jobs, &flag()), "first 1");
}

#[test]
fn a_second_listening_never_keeps_a_first_waiting() {
    let raised = flag();
    let mut jobs = Jobs { idle: 1, ..Jobs::default() };
    jobs.hear_again(job(0, 512), heard());
    jobs.hear_again(job(1, 1024), heard());
    assert_eq!(next(&mut jobs, &raised), "again 1", "the newest first");
    assert_eq!(next(&mut jobs, &flag()), "wait", "one worker stays free");
    jobs.over(job(2, 2048));
    assert!(!is_up(&raised), "there is one who is free");
    assert_eq!(next(&mut jobs, &flag()), "first 2");
    jobs.idle = 0;
    jobs.over(job(3, 4096));
    assert!(is_up(&raised), "nobody else is free");
    // The same for a breath that is only likely to be over, on one processor.
    let (raised, mut jobs) = (flag(), Jobs::default());
    jobs.hear_again(job(0, 512), heard());
    assert!(matches!(jobs.next(1, &raised), Some(Task::Again(..))));
    jobs.likely = Some(Likely::Waits(job(1, 1024)));
    jobs.make_room();
    assert!(is_up(&raised));
}

#[test]
fn few_wait_to_be_heard_again() {
    let mut jobs = Jobs::default();
    for n in 0..20 {
        jobs.hear_again(job(n, 512), heard());
    }
    assert_eq!(jobs.again.len(), MOST_AGAIN);
    assert_eq!(jobs.again.front().map(|(job, _)| job.number), Some(12));
}

/// Breaths with pauses inside of them that are long enough to be taken for their ends; live and from the recording.
#[test]
fn what_comes_live_is_what_is_in_the_recording() {
    const PATTERN: [(u64, u64); 6] = [(30, 20), (4, 9), (5, 3), (10, 5), (100, 40), (4, 6)];
    let gate = Gate::open();
    let how = |live| How { workers: 2, gate: &gate, start_s: 0.0, live, tape: false, stop: None };
    let make_ears = || {
        let first = Box::new(Counter { fails_at: None });
        Ok(Ears { first, second: hear::Second::Nobody, sparing: false })
    };
    let finish = |span: HeardSpan| {
        let (from_s, to_s) = (seconds(span.span.from), seconds(span.span.to));
        let word = span.heard.merged.words.first()?;
        Some(Breath::from_text(from_s, to_s, &word.raw.text))
    };
    for block in [160, 512, 1600, 16_000] {
        let mut whole = Vec::new();
        let made = || Made::new(&PATTERN, 120, block);
        run::run(&mut made(), &mut Loudness, &make_ears, &how(false), &finish, &mut |step| {
            if let Step::Item(breath) = step {
                whole.push(breath);
            }
        })
        .unwrap();
        let mut live = Vec::new();
        run_live(&mut made(), &mut Loudness, &make_ears, &how(true), &finish, &mut |turn| match turn {
            Turn::First(breath) => live.push(breath),
            Turn::Again(breath) => panic!("{breath:?} was sure"),
        })
        .unwrap();
        live.sort_by(|a, b| a.from_s.total_cmp(&b.from_s));
        assert_eq!(live, whole, "blocks of {block}");
        assert!(whole.len() > 8, "{whole:?}");
    }
}

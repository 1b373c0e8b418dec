//! The order of the steps against the order of the trade (`procedure_steps`, `procedure_rules`).
//!
//! Why: a step in the wrong place is either a slip of the tongue or a step that nobody said. Orders that the sources
//! leave open (patency and working length) are no findings. Example: an engine-driven file before the working length.

use super::plausibility::steps_between;
use super::visit::{Step, Visit, clock, join};
use super::{Level, Out, Rule, Settings};
use crate::tables::Evidence;
use crate::words::Decimal;

pub(super) static RULES: &[Rule] = &[
    Rule {
        id: "order.working-length",
        about: "A canal was shaped before its working length.",
        source: "procedure_steps: shaping after glide_path after working_length (XMIND;DNET)",
        evidence: Evidence::Seen,
        run: working_length,
    },
    Rule {
        id: "order.isolation",
        about: "Access, a rinse or a file came before isolation.",
        source: "procedure_steps: access after isolation (XMIND;DNET)",
        evidence: Evidence::Seen,
        run: isolation,
    },
    Rule {
        id: "order.glide-path",
        about: "An engine-driven file had no glide path or hand file before it.",
        source: "procedure_rules: glide path before engine-driven files",
        evidence: Evidence::Partly,
        run: glide_path,
    },
    Rule {
        id: "order.size-jump",
        about: "The next larger file in a canal is more than one size larger.",
        source: "iso3630_constants: size_steps (PA1, SL1)",
        evidence: Evidence::Seen,
        run: size_jump,
    },
    Rule {
        id: "order.irrigation-between",
        about: "Two engine-driven files followed each other without a rinse said between.",
        source: "procedure_rules: recapitulate and irrigate after every instrument (DT;EG)",
        evidence: Evidence::Partly,
        run: irrigation_between,
    },
    Rule {
        id: "order.recapitulation-between",
        about: "Two engine-driven files followed each other without a small file said between.",
        source: "procedure_rules: recapitulate and irrigate after every instrument (DT;EG)",
        evidence: Evidence::Partly,
        run: recapitulation_between,
    },
    Rule {
        id: "order.drying",
        about: "A canal was rinsed after it was dried, or dried after it was filled.",
        source: "procedure_steps: drying after final_irrigation (XMIND;DNET)",
        evidence: Evidence::Partly,
        run: drying,
    },
    Rule {
        id: "order.post-operative-radiograph",
        about: "The post-operative radiograph came before the filling.",
        source: "procedure_steps: postop_radiograph after obturation_or_medicament (XMIND;DNET)",
        evidence: Evidence::Seen,
        run: post_operative,
    },
];

/// Gathers canals with the same story into one finding.
#[derive(Default)]
struct Told<'s, 'l> {
    canals: Vec<String>,
    steps: Vec<&'s Step<'l>>,
    stories: Vec<String>,
}

impl<'s, 'l> Told<'s, 'l> {
    fn add(&mut self, canal: &str, steps: &[&'s Step<'l>], story: String) {
        if !self.canals.iter().any(|c| c == canal) {
            self.canals.push(canal.to_owned());
        }
        self.steps.extend(steps);
        if !self.stories.contains(&story) {
            self.stories.push(story);
        }
    }
}

/// Shaping: an engine-driven file that was not said to stay coronal, or a hand file above the scouting sizes at a said depth.
fn is_shaping(step: &Step<'_>, scouting: Decimal) -> bool {
    let hand = || step.number("size").is_some_and(|s| s > scouting) && step.has("short_mm");
    step.is_apical_file() && (step.is_engine_driven() || hand())
}

fn working_length(visit: &Visit<'_>, settings: &Settings, out: &mut Out<'_>) {
    for tooth in &visit.teeth {
        let mut told = Told::default();
        for canal in &tooth.canals {
            // Where no length was said at all, the record items ask for it.
            let Some((length, _)) = tooth.lengths(canal).next() else { continue };
            let Some(early) = tooth
                .done_in(canal)
                .find(|s| is_shaping(s, settings.scouting_size))
                .filter(|s| s.at < length.at)
            else {
                continue;
            };
            let (file, when) = (early.size_taper(), clock(early.entry.from_s));
            told.add(
                canal,
                &[early, length],
                format!("{file} at {when}, length at {}", clock(length.entry.from_s)),
            );
        }
        if !told.canals.is_empty() {
            let sentence = format!("shaped before the working length ({})", told.stories.join("; "));
            out.add(Level::Look, tooth.number, &told.canals, &told.steps, sentence);
        }
    }
}

fn isolation(visit: &Visit<'_>, _: &Settings, out: &mut Out<'_>) {
    // A dam over several teeth is said once.
    let Some(first) = visit.done().into_iter().find(|s| s.is("isolation")).map(|s| s.at) else { return };
    for tooth in &visit.teeth {
        let Some(own) = tooth.done_of("isolation").next() else { continue };
        let wet = |s: &&Step<'_>| s.is("access") || s.is("irrigation") || s.is("instrumentation");
        let Some(early) = tooth.done().find(wet).filter(|s| s.at < first) else { continue };
        let what = match early.kind() {
            "access" => "access",
            "irrigation" => "a rinse",
            _ => "a file",
        };
        let sentence = format!("{what} (at {}) before isolation", clock(early.entry.from_s));
        out.add(Level::Look, tooth.number, &[], &[own, early], sentence);
    }
}

fn glide_path(visit: &Visit<'_>, settings: &Settings, out: &mut Out<'_>) {
    let [smallest, largest] = settings.glide_path_size;
    for tooth in &visit.teeth {
        let mut told = Told::default();
        for canal in &tooth.canals {
            let large = |s: &&Step<'_>| s.number("size").is_none_or(|s| s > largest);
            let Some(engine) =
                tooth.done_in(canal).filter(|s| s.is_engine_driven() && s.is_apical_file()).find(large)
            else {
                continue;
            };
            let prepared = |s: &Step<'_>| {
                let lost = matches!(s.text("result"), Some("not-achieved" | "lost"));
                let small = s.number("size").is_some_and(|s| s >= smallest && s <= largest);
                let file = matches!(s.kind(), "instrumentation" | "patency" | "recapitulation") && small;
                !lost && (s.is("glide-path") || (s.is("patency") && !s.has("size")) || file)
            };
            if tooth.done_in(canal).any(|s| s.at < engine.at && prepared(s)) {
                continue;
            }
            told.add(canal, &[engine], file(engine));
        }
        if !told.canals.is_empty() {
            let sentence = format!(
                "engine-driven: {} with no glide path or small file said before",
                join(&told.stories)
            );
            out.add(Level::Note, tooth.number, &told.canals, &told.steps, sentence);
        }
    }
}

/// "25/.06", or "a file" of which neither size nor taper was said.
fn file(step: &Step<'_>) -> String {
    Some(step.size_taper()).filter(|s| !s.is_empty()).unwrap_or_else(|| "a file".to_owned())
}

/// Files in the order in which they were used: "before that, forty" was said late.
fn in_order_of_use<'s, 'l: 's>(files: impl Iterator<Item = &'s Step<'l>>) -> Vec<&'s Step<'l>> {
    let mut order: Vec<&Step<'_>> = Vec::new();
    for file in files {
        let said = file.entry.said.to_lowercase();
        let before = ["before that", "before those", "before these"].iter().any(|w| said.contains(w));
        // Ahead of the first larger file.
        let larger = |f: &&Step<'_>| f.number("size") > file.number("size");
        let at = if before { order.iter().position(larger) } else { None };
        order.insert(at.unwrap_or(order.len()), file);
    }
    order
}

fn size_jump(visit: &Visit<'_>, settings: &Settings, out: &mut Out<'_>) {
    for tooth in &visit.teeth {
        let mut far = Told::default();
        let mut near = Told::default();
        for canal in &tooth.canals {
            let mut largest: Option<&Step<'_>> = None;
            let files = tooth.done_in(canal).filter(|s| s.is_apical_file() || s.is("glide-path"));
            for file in in_order_of_use(files) {
                let Some(size) = file.number("size") else { continue };
                let before = largest.and_then(|s| s.number("size"));
                let Some(before) = before else {
                    largest = Some(file);
                    continue;
                };
                if size <= before {
                    continue;
                }
                let steps = steps_between(before, size).and_then(|n| i64::try_from(n).ok()).unwrap_or(0);
                let pair: Vec<&Step<'_>> = largest.into_iter().chain([file]).collect();
                let story = format!("{before} → {size}");
                // After a scouting file the first shaping file is larger by right.
                let shaping = before > settings.patency_size;
                if shaping && steps >= settings.size_steps_look {
                    far.add(canal, &pair, story);
                } else if steps > settings.size_steps {
                    near.add(canal, &pair, story);
                }
                largest = Some(file);
            }
        }
        for (told, level, words) in [
            (far, Level::Look, "the next file is many sizes larger; was one misheard, or not said?"),
            (near, Level::Note, "the next file is more than one size larger"),
        ] {
            if !told.canals.is_empty() {
                let sentence = format!("{words} ({})", told.stories.join("; "));
                let mark = if level == Level::Look { "far" } else { "near" };
                out.add(level, tooth.number, &told.canals, &told.steps, sentence).about(mark);
            }
        }
    }
}

/// Engine-driven files that followed each other in a canal with nothing between that counts.
fn between(
    visit: &Visit<'_>,
    out: &mut Out<'_>,
    missing: &str,
    counts: impl Fn(&Step<'_>) -> bool,
    throughout: impl Fn(&Step<'_>) -> bool,
) {
    for tooth in &visit.teeth {
        if tooth.done().any(&throughout) {
            continue;
        }
        let mut told = Told::default();
        for canal in &tooth.canals {
            let engine: Vec<_> = tooth.done_in(canal).filter(|s| s.is_engine_driven()).collect();
            for pair in engine.windows(2) {
                let [a, b] = pair else { continue };
                let mut inside = tooth.done().filter(|s| s.at > a.at && s.at < b.at);
                if inside.any(|s| (s.canals.is_empty() || s.reached(canal)) && counts(s)) {
                    continue;
                }
                told.add(canal, pair, format!("{} → {}", file(a), file(b)));
            }
        }
        if !told.canals.is_empty() {
            let sentence =
                format!("{missing} said between engine-driven files ({})", told.stories.join("; "));
            out.add(Level::Note, tooth.number, &told.canals, &told.steps, sentence);
        }
    }
}

fn irrigation_between(visit: &Visit<'_>, _: &Settings, out: &mut Out<'_>) {
    let throughout = |s: &Step<'_>| {
        s.is("irrigation")
            && (s.text("each") == Some("file")
                || ["every file", "each file", "every instrument", "between files", "throughout"]
                    .iter()
                    .any(|w| s.entry.said.to_lowercase().contains(w)))
    };
    between(visit, out, "no rinse", |s| s.is("irrigation"), throughout);
}

fn recapitulation_between(visit: &Visit<'_>, settings: &Settings, out: &mut Out<'_>) {
    let small = |s: &Step<'_>| {
        s.is("instrumentation") && s.number("size").is_some_and(|n| n <= settings.patency_size)
    };
    let counts = |s: &Step<'_>| s.is("recapitulation") || s.is("patency") || small(s);
    let throughout = |s: &Step<'_>| {
        let said = s.entry.said.to_lowercase();
        (s.is("recapitulation") || s.is("patency")) && (said.contains("every") || said.contains("throughout"))
    };
    between(visit, out, "no small file", counts, throughout);
}

fn drying(visit: &Visit<'_>, _: &Settings, out: &mut Out<'_>) {
    for tooth in &visit.teeth {
        let mut wet = Told::default();
        let mut late = Told::default();
        for canal in &tooth.canals {
            let Some(filling) = tooth.done_in(canal).find(|s| s.is("obturation")) else { continue };
            let dried: Vec<_> = tooth.done_in(canal).filter(|s| s.is("drying")).collect();
            let before = dried.iter().filter(|s| s.at < filling.at).copied().last();
            match (before, dried.first()) {
                (Some(dry), _) => {
                    let rinse = tooth
                        .done_in(canal)
                        .find(|s| s.is("irrigation") && s.at > dry.at && s.at < filling.at);
                    if let Some(rinse) = rinse {
                        let story = format!(
                            "dried at {}, rinsed at {}",
                            clock(dry.entry.from_s),
                            clock(rinse.entry.from_s)
                        );
                        wet.add(canal, &[dry, rinse, filling], story);
                    }
                }
                (None, Some(dry)) => {
                    let story = format!(
                        "filled at {}, dried at {}",
                        clock(filling.entry.from_s),
                        clock(dry.entry.from_s)
                    );
                    late.add(canal, &[filling, dry], story);
                }
                (None, None) => {}
            }
        }
        for (told, words) in
            [(wet, "rinsed after the last drying and then filled"), (late, "dried after the filling")]
        {
            if !told.canals.is_empty() {
                let sentence = format!("{words} ({})", told.stories.join("; "));
                out.add(Level::Look, tooth.number, &told.canals, &told.steps, sentence);
            }
        }
    }
}

fn post_operative(visit: &Visit<'_>, _: &Settings, out: &mut Out<'_>) {
    for tooth in &visit.teeth {
        let films = || tooth.done_of("radiograph").filter(|s| s.text("purpose") == Some("post-operative"));
        let Some(filling) = tooth.done_of("obturation").next() else { continue };
        let (Some(film), None) = (films().next(), films().find(|s| s.at > filling.at)) else { continue };
        let sentence = format!(
            "post-operative radiograph (at {}) before the filling (at {})",
            clock(film.entry.from_s),
            clock(filling.entry.from_s)
        );
        out.add(Level::Look, tooth.number, &[], &[film, filling], sentence);
    }
}

//! The record items (`record_items`) against the log: said, missing or not applicable, per tooth and per canal.
//!
//! Why: audits find the same gaps again and again (`record_gaps`), and at the desk they can still be mended.
//! Example: "36: reference point of the working length for MB and ML?". What only memory demands is gathered in one
//! note; the whole list is in the report's `items`.

use serde::Serialize;

use super::visit::{Step, Tooth, Visit, clock, join};
use super::{Level, Out, Rule, Settings};
use crate::log::Status;
use crate::tables::{self, Evidence, Row};

pub(super) static RULES: &[Rule] = &[
    Rule {
        id: "completeness.tooth",
        about: "Something was done, and no tooth was named.",
        source: "the log itself",
        evidence: Evidence::Computed,
        run: which_tooth,
    },
    Rule {
        id: "completeness.wl_value",
        about: "A canal was worked in and has no working length.",
        source: "record_items: wl_value",
        evidence: Evidence::Partly,
        run: |visit, settings, out| ask(visit, settings, out, "wl_value"),
    },
    Rule {
        id: "completeness.wl_reference",
        about: "A working length has no coronal reference point.",
        source: "record_items: wl_reference",
        evidence: Evidence::Seen,
        run: |visit, settings, out| ask(visit, settings, out, "wl_reference"),
    },
    Rule {
        id: "completeness.postop_radiograph",
        about: "A tooth was filled and no post-operative radiograph is named.",
        source: "record_items: postop_radiograph",
        evidence: Evidence::Seen,
        run: |visit, settings, out| ask(visit, settings, out, "postop_radiograph"),
    },
    Rule {
        id: "completeness.complications",
        about: "A complication, and no word that the patient was told.",
        source: "record_items: complications",
        evidence: Evidence::Partly,
        run: |visit, settings, out| ask(visit, settings, out, "complications"),
    },
    Rule {
        id: "completeness.assessment",
        about: "Complaint, tests, pre-operative radiograph or a diagnosis is missing.",
        source: "record_items",
        evidence: Evidence::Seen,
        run: assessment,
    },
    Rule {
        id: "completeness.other",
        about: "Record items that memory alone demands are missing; one note for all.",
        source: "record_items: ESE2006 and other record standards",
        evidence: Evidence::Memory,
        run: other,
    },
];

/// What is asked together, because an earlier visit's record may hold it.
const ASSESSMENT: &[&str] = &["complaint", "tests", "preop_radiograph", "diagnosis_pulp", "diagnosis_apical"];
/// What has a finding of its own.
const ALONE: &[&str] = &["tooth", "wl_value", "wl_reference", "postop_radiograph", "complications"];

/// One record item of one tooth.
#[derive(Debug, Clone, PartialEq, Serialize)]
pub struct Item {
    #[serde(skip_serializing_if = "Option::is_none")]
    pub tooth: Option<String>,
    /// The key in `record_items`.
    pub key: &'static str,
    pub item: &'static str,
    pub state: State,
    /// The canals that lack it; none where the tooth does.
    #[serde(skip_serializing_if = "Vec::is_empty")]
    pub canals: Vec<String>,
    /// What to ask at the desk; empty where nothing is missing.
    #[serde(skip_serializing_if = "String::is_empty")]
    pub question: String,
    /// Who demands it.
    pub source: &'static str,
    #[serde(serialize_with = "super::mark")]
    pub evidence: Evidence,
    /// How often records lack it, where that is known.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub gap: Option<String>,
}

/// Whether a record item was said.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum State {
    Said,
    Missing,
    NotApplicable,
}

/// What a rule of an item answers.
enum Answer {
    Said,
    NotApplicable,
    /// The question, and the canals that lack it.
    Ask(String, Vec<String>),
}

fn said(is: bool, question: &str) -> Answer {
    if is { Answer::Said } else { Answer::Ask(question.to_owned(), Vec::new()) }
}

/// Asks where some canals lack it.
fn canals_lack(question: &str, canals: Vec<String>) -> Answer {
    if canals.is_empty() { Answer::Said } else { Answer::Ask(question.to_owned(), canals) }
}

/// Asks for the parts that are missing: "anaesthetic: concentration, dose".
fn parts(of: &str, missing: &[&str]) -> Answer {
    if missing.is_empty() {
        Answer::Said
    } else {
        Answer::Ask(format!("{of} ({})", missing.join(", ")), Vec::new())
    }
}

/// All record items for every tooth that was worked on.
pub fn items(visit: &Visit<'_>, settings: &Settings) -> Vec<Item> {
    let worked = recorded(visit);
    worked
        .flat_map(|t| tables::rows("record_items").filter_map(|row| item(visit, t, settings, &row)))
        .collect()
}

fn item(visit: &Visit<'_>, tooth: &Tooth<'_>, settings: &Settings, row: &Row<'_>) -> Option<Item> {
    let key = row.key();
    let at = At { visit, tooth, settings };
    let (state, question, canals) = match at.answer(key)? {
        Answer::Said => (State::Said, String::new(), Vec::new()),
        Answer::NotApplicable => (State::NotApplicable, String::new(), Vec::new()),
        Answer::Ask(question, canals) => (State::Missing, question, canals),
    };
    let evidence = row.evidence().unwrap_or(Evidence::Memory);
    Some(Item {
        tooth: tooth.number.map(str::to_owned),
        key,
        item: row.get("item"),
        state,
        canals,
        question,
        source: row.source(),
        evidence,
        gap: gap(key),
    })
}

/// How often records lack an item, from the audits.
fn gap(key: &str) -> Option<String> {
    let (fact, told): (&str, fn(&str, &str) -> String) = match key {
        "wl_reference" => ("working-length reference point NOT recorded (commonest gap)", |pct, source| {
            format!("missing in {pct} % of records ({source})")
        }),
        "diagnosis_pulp" | "diagnosis_apical" => ("definitive diagnosis recorded", |pct, source| {
            format!("recorded in {pct} % of records ({source})")
        }),
        "complaint" | "tests" => ("signs/symptoms recorded 2022-23", |pct, source| {
            format!("recorded in {pct} % of records ({source})")
        }),
        _ => return None,
    };
    let row = tables::rows("record_gaps").find(|r| r.key() == fact)?;
    Some(told(row.get("value_pct"), row.source()))
}

/// One tooth of a visit, as the items ask about it.
struct At<'a, 'l> {
    visit: &'a Visit<'l>,
    tooth: &'a Tooth<'l>,
    settings: &'a Settings,
}

impl<'a, 'l: 'a> At<'a, 'l> {
    /// A done step in the whole visit: what is said of the patient is said once.
    fn anywhere(&self, fits: impl Fn(&Step<'_>) -> bool) -> bool {
        self.visit.done().into_iter().any(fits)
    }

    /// A done step of this tooth, or one said before any tooth was named.
    fn of_tooth(&self, fits: impl Fn(&Step<'_>) -> bool) -> bool {
        let unnamed = self.visit.teeth.iter().filter(|t| t.number.is_none()).flat_map(Tooth::done);
        self.tooth.done().chain(unnamed).any(fits)
    }

    fn history(&self, part: &str) -> bool {
        self.anywhere(|s| s.is("history") && s.text("part") == Some(part))
    }

    fn filled(&self) -> bool {
        self.tooth.done_of("obturation").next().is_some()
    }

    /// Canals that a file, a rinse, a dressing or a filling reached.
    fn worked_canals(&self) -> Vec<String> {
        let kinds = ["instrumentation", "glide-path", "apical-gauge", "cone-fit", "obturation"];
        let worked = |c: &&String| self.tooth.done_in(c).any(|s| kinds.contains(&s.kind()));
        self.tooth.canals.iter().filter(worked).cloned().collect()
    }

    /// Those of these canals in which no done step fits.
    fn lacking(&self, canals: Vec<String>, fits: impl Fn(&Step<'_>) -> bool) -> Vec<String> {
        canals.into_iter().filter(|c| !self.tooth.done_in(c).any(&fits)).collect()
    }

    fn measured_canals(&self) -> Vec<String> {
        self.tooth.canals.iter().filter(|c| self.tooth.lengths(c).next().is_some()).cloned().collect()
    }

    fn film(&self, purposes: &[&str]) -> bool {
        self.of_tooth(|s| s.is("radiograph") && s.text("purpose").is_some_and(|p| purposes.contains(&p)))
    }

    fn answer(&self, key: &str) -> Option<Answer> {
        self.of_the_patient(key).or_else(|| self.of_the_canals(key)).or_else(|| self.of_the_end(key))
    }

    fn of_the_patient(&self, key: &str) -> Option<Answer> {
        Some(match key {
            "patient_identity" => said(self.history("identity"), "identity checked"),
            "date_time" => said(self.visit.log.source.recording_start.is_some(), "date and time"),
            // The signature names the operator; nothing in speech does. Legibility is for the reader to judge.
            "operator" | "quality" => Answer::NotApplicable,
            "medical_history" => said(self.history("medical"), "medical history"),
            "complaint" => said(self.history("complaint"), "complaint"),
            "tests" => said(self.of_tooth(|s| s.is("test")), "tests"),
            "preop_radiograph" => {
                let unnamed =
                    |s: &Step<'_>| s.is("radiograph") && s.text("view") == Some("cbct") && !s.has("purpose");
                said(self.film(&["pre-operative"]) || self.of_tooth(unnamed), "pre-operative radiograph")
            }
            "diagnosis_pulp" => {
                said(self.of_tooth(|s| s.is("diagnosis") && s.has("pulpal")), "pulpal diagnosis")
            }
            "diagnosis_apical" => {
                said(self.of_tooth(|s| s.is("diagnosis") && s.has("apical")), "apical diagnosis")
            }
            "options_consent" => said(self.anywhere(|s| s.is("consent")), "consent"),
            "tooth" => {
                said(self.tooth.number.is_some() && !self.visit.log.case.notation.is_empty(), "tooth number")
            }
            "anaesthesia" => self.anaesthesia(),
            "isolation" => said(self.anywhere(|s| s.is("isolation")), "isolation"),
            "access" => said(self.of_tooth(|s| s.is("access")), "access"),
            _ => return None,
        })
    }

    fn anaesthesia(&self) -> Answer {
        let all = || self.visit.teeth.iter().flat_map(|t| &t.steps).filter(|s| s.is("anaesthesia"));
        let done: Vec<_> = all().filter(|s| s.entry.status == Status::Done).collect();
        if done.is_empty() {
            // "No anaesthetic needed" is an answer.
            return if all().any(|s| s.entry.status == Status::NotDone) {
                Answer::NotApplicable
            } else {
                Answer::Ask("anaesthetic".to_owned(), Vec::new())
            };
        }
        let any = |field: &str| done.iter().any(|s| s.has(field));
        let amount = done.iter().all(|s| s.has("cartridges") || s.has("volume_ml"));
        let missing: Vec<&str> = [
            ("agent", any("agent")),
            ("concentration", any("concentration_pct")),
            ("vasoconstrictor", any("vasoconstrictor")),
            ("dose", amount),
            ("site", any("technique")),
        ]
        .iter()
        .filter(|(_, there)| !there)
        .map(|(part, _)| *part)
        .collect();
        parts("anaesthetic", &missing)
    }

    fn of_the_canals(&self, key: &str) -> Option<Answer> {
        let worked = self.worked_canals();
        let measured = self.measured_canals();
        let nowhere = (worked.is_empty() && IN_CANALS.contains(&key))
            || (measured.is_empty() && matches!(key, "wl_reference" | "wl_method"));
        if nowhere {
            return Some(Answer::NotApplicable);
        }
        Some(match key {
            "canals" => {
                let count = self.tooth.count.and_then(|n| usize::try_from(n).ok());
                said(
                    !self.tooth.canals.is_empty() && count.is_none_or(|n| n <= self.tooth.canals.len()),
                    "canals by name",
                )
            }
            "wl_value" => canals_lack(
                "working length",
                self.lacking(worked, |s| s.has("length_mm") && s.is("working-length")),
            ),
            "wl_reference" => canals_lack(
                "reference point of the working length",
                self.lacking(measured, |s| s.is("working-length") && s.has("reference")),
            ),
            "wl_method" => {
                let film = self.film(&["working-length"]);
                let lack = self.lacking(measured, |s| s.is("working-length") && s.has("method"));
                if film { Answer::Said } else { canals_lack("how the working length was found", lack) }
            }
            // Demanded "where taken": nothing in a log says that one was taken and not named.
            "wl_radiograph" => {
                let by_film = |s: &Step<'_>| matches!(s.text("method"), Some("radiograph" | "both"));
                if self.film(&["working-length"]) || self.of_tooth(by_film) {
                    Answer::Said
                } else {
                    Answer::NotApplicable
                }
            }
            "patency" => canals_lack("patency", self.lacking(worked, |s| s.is("patency"))),
            "instruments" => canals_lack(
                "instruments with their sizes",
                self.lacking(worked, |s| {
                    matches!(s.kind(), "instrumentation" | "glide-path") && s.has("size")
                }),
            ),
            "master_apical_size" => canals_lack(
                "final apical size",
                self.lacking(worked, |s| {
                    s.has("size") && (s.is("apical-gauge") || s.is("cone-fit") || s.is_apical_file())
                }),
            ),
            "irrigants" => self.irrigants(),
            _ => return None,
        })
    }

    fn irrigants(&self) -> Answer {
        let rinses: Vec<_> = self.tooth.done_of("irrigation").collect();
        if rinses.is_empty() {
            return Answer::Ask("irrigant".to_owned(), Vec::new());
        }
        let mut missing: Vec<String> = Vec::new();
        if !rinses.iter().any(|s| s.has("agent")) {
            missing.push("which one".to_owned());
        }
        for agent in super::visit::unique(rinses.iter().filter_map(|s| s.text("agent"))) {
            let of = |field: &str| rinses.iter().any(|s| s.text("agent") == Some(agent) && s.has(field));
            // Water, saline and alcohol come in one strength.
            if !of("concentration_pct")
                && !matches!(agent, "water" | "saline" | "isopropyl-alcohol" | "local-anaesthetic")
            {
                missing.push(format!("concentration of {agent}"));
            }
            if !of("volume_ml") && !of("duration_s") {
                missing.push(format!("volume of {agent}"));
            }
        }
        parts("irrigant", &missing.iter().map(String::as_str).collect::<Vec<_>>())
    }

    fn of_the_end(&self, key: &str) -> Option<Answer> {
        let filled = self.filled();
        let any = |kind: &str| self.of_tooth(|s| s.is(kind));
        let or_not = |applies: bool, answer: Answer| if applies { answer } else { Answer::NotApplicable };
        Some(match key {
            "medicament" => or_not(
                !filled && !self.worked_canals().is_empty(),
                said(any("medicament"), "dressing between visits"),
            ),
            "drying" => {
                or_not(filled, canals_lack("drying", self.lacking(self.filled_canals(), |s| s.is("drying"))))
            }
            "obturation" => or_not(filled, self.obturation()),
            "postop_radiograph" => {
                or_not(filled, said(self.film(&["post-operative"]), "post-operative radiograph"))
            }
            "temporary" => {
                let lasting = self.of_tooth(|s| s.is("restoration") && s.text("term") != Some("temporary"));
                or_not(!lasting, said(any("restoration"), "provisional restoration"))
            }
            "restoration" => {
                let lasting = |s: &Step<'_>| s.is("restoration") && s.text("term") != Some("temporary");
                let planned =
                    self.tooth.steps.iter().any(|s| s.entry.status == Status::Planned && lasting(s));
                let advised =
                    self.anywhere(|s| s.is("advice") && s.entry.said.to_lowercase().contains("crown"));
                or_not(filled, said(planned || advised || self.of_tooth(lasting), "definitive restoration"))
            }
            "complications" => self.complications(),
            "advice" => said(self.anywhere(|s| s.is("advice") || s.is("prescription")), "advice given"),
            "recall" => {
                let arranged = |s: &Step<'_>| {
                    s.is("review-visit") && matches!(s.entry.status, Status::Done | Status::Planned)
                };
                said(self.visit.teeth.iter().flat_map(|t| &t.steps).any(arranged), "review date")
            }
            "lot" => or_not(
                self.settings.ask_for_lots,
                said(self.anywhere(|s| s.is("material-lot")), "material lot"),
            ),
            _ => return None,
        })
    }

    fn filled_canals(&self) -> Vec<String> {
        let filled = |c: &&String| self.tooth.done_in(c).any(|s| s.is("obturation"));
        self.tooth.canals.iter().filter(filled).cloned().collect()
    }

    fn obturation(&self) -> Answer {
        let any = |field: &str| self.tooth.done_of("obturation").any(|s| s.has(field));
        let cone = self.tooth.done().any(|s| (s.is("cone-fit") || s.is("obturation")) && s.has("size"));
        let missing: Vec<&str> =
            [("technique", any("technique")), ("sealer", any("sealer")), ("cone size", cone)]
                .iter()
                .filter(|(_, there)| !there)
                .map(|(part, _)| *part)
                .collect();
        let left: Vec<String> =
            self.worked_canals().into_iter().filter(|c| !self.filled_canals().contains(c)).collect();
        if left.is_empty() { parts("filling", &missing) } else { Answer::Ask("filling".to_owned(), left) }
    }

    /// A complication is asked about only where the patient must hear of it, and where no one was said to have.
    fn complications(&self) -> Answer {
        let grave = |s: &Step<'_>| {
            s.is("complication")
                && matches!(s.text("type"), Some("separation" | "perforation" | "hypochlorite-extrusion"))
        };
        let Some(first) = self.tooth.done().find(|s| grave(s)) else { return Answer::NotApplicable };
        let told = |s: &Step<'_>| {
            let words = s.entry.said.to_lowercase();
            let talk = matches!(s.kind(), "advice" | "remark" | "consent" | "complication");
            let hearer =
                ["patient", "told", "informed", "explained", "aware"].iter().any(|w| words.contains(w));
            talk && s.at >= first.at && (s.is("advice") || hearer)
        };
        let what = first.text("type").unwrap_or("complication");
        said(self.anywhere(told), &format!("patient told of the {what}"))
    }
}

/// Items of `of_the_canals` that say nothing where no canal was worked in.
const IN_CANALS: &[&str] = &["wl_value", "patency", "instruments", "master_apical_size"];

/// What is of the patient or the visit: asked once, with the first tooth.
const OF_THE_VISIT: &[&str] = &[
    "patient_identity",
    "date_time",
    "medical_history",
    "complaint",
    "options_consent",
    "anaesthesia",
    "isolation",
    "advice",
    "recall",
    "lot",
];

/// Missing items of one tooth that are not switched off.
fn missing(visit: &Visit<'_>, tooth: &Tooth<'_>, settings: &Settings) -> Vec<Item> {
    let is_first = visit.teeth.iter().find(|t| t.worked()).is_some_and(|t| t.number == tooth.number);
    let all = tables::rows("record_items").filter_map(|row| item(visit, tooth, settings, &row));
    let on = |i: &Item| !settings.is_off(&format!("completeness.{}", i.key));
    let here = |i: &Item| is_first || !OF_THE_VISIT.contains(&i.key);
    all.filter(|i| i.state == State::Missing && on(i) && here(i)).collect()
}

/// Whether the log is of a lecture or a demonstration. Where it does not say so itself, because an older program made
/// it: many rules of practice beside the steps that were shown.
fn is_teaching(visit: &Visit<'_>) -> bool {
    if let Some(lecture) = visit.log.case.lecture {
        return lecture;
    }
    let steps = || visit.teeth.iter().flat_map(|t| &t.steps);
    let general = steps().filter(|s| s.entry.status == Status::General).count();
    general >= 3 && general * 2 >= steps().filter(|s| s.entry.status == Status::Done).count()
}

/// Teeth that have a record: those that were worked on. A lecture in which no tooth is named is about none.
fn recorded<'v, 'l>(visit: &'v Visit<'l>) -> impl Iterator<Item = &'v Tooth<'l>> {
    let lecture = is_teaching(visit);
    visit.teeth.iter().filter(move |t| t.worked() && !(lecture && t.number.is_none()))
}

fn ask(visit: &Visit<'_>, settings: &Settings, out: &mut Out<'_>, key: &str) {
    // A demonstration is no record.
    let level = if is_teaching(visit) { Level::Note } else { Level::Look };
    for tooth in recorded(visit) {
        for item in missing(visit, tooth, settings).into_iter().filter(|i| i.key == key) {
            let all = item.canals.len() == tooth.canals.len();
            let whom = match (all, item.canals.len()) {
                (_, 0) | (true, 1) => String::new(),
                (true, _) => " for every canal".to_owned(),
                (false, _) => format!(" for {}", join(&item.canals)),
            };
            let gap = item.gap.map(|g| format!(" It is {g}.")).unwrap_or_default();
            let about: Vec<&Step<'_>> = match key {
                "wl_reference" => tooth
                    .done_of("working-length")
                    .filter(|s| s.canals.iter().any(|c| item.canals.contains(c)))
                    .collect(),
                "complications" => tooth.done_of("complication").collect(),
                _ => Vec::new(),
            };
            let sentence = format!("{}{whom}?{gap}", item.question);
            let found = out.add(level, tooth.number, &[], &about, sentence);
            found.source = format!("record_items: {key} ({})", item.source);
            found.evidence = item.evidence;
            found.canals = item.canals;
        }
    }
}

/// What may be said of a person before any tooth is named.
const OF_THE_PERSON: &[&str] =
    &["history", "consent", "diagnosis", "prescription", "advice", "review-visit", "remark"];

fn which_tooth(visit: &Visit<'_>, _: &Settings, out: &mut Out<'_>) {
    if is_teaching(visit) {
        return;
    }
    let any_named = visit.teeth.iter().any(|t| t.number.is_some());
    for tooth in visit.teeth.iter().filter(|t| t.number.is_none()) {
        // Beside a named tooth, only what happens in a tooth needs one.
        if any_named && !tooth.worked() {
            continue;
        }
        let steps: Vec<_> = tooth.done().filter(|s| !OF_THE_PERSON.contains(&s.kind())).collect();
        let Some(first) = steps.first() else { continue };
        let at = clock(first.entry.from_s);
        let sentence = match steps.len() {
            1 => format!("which tooth? None was named for the step at {at}"),
            n => format!("which tooth? None was named for {n} steps, from {at} on"),
        };
        out.add(Level::Look, None, &[], &steps, sentence);
    }
}

/// Words that tell of an earlier visit, whose record holds the assessment.
fn continues(visit: &Visit<'_>) -> bool {
    let tells = |said: &str| {
        let said = said.to_lowercase();
        ["last visit", "second visit", "previous visit", "earlier visit", "first visit", "last time"]
            .iter()
            .any(|w| said.contains(w))
    };
    let live = visit.teeth.iter().flat_map(|t| &t.steps).any(|s| tells(&s.entry.said));
    live || visit.log.unplaced.iter().any(|u| tells(&u.said))
}

fn assessment(visit: &Visit<'_>, settings: &Settings, out: &mut Out<'_>) {
    let earlier = continues(visit);
    for tooth in recorded(visit) {
        let lacking: Vec<Item> =
            missing(visit, tooth, settings).into_iter().filter(|i| ASSESSMENT.contains(&i.key)).collect();
        let Some(first) = lacking.first() else { continue };
        let questions: Vec<String> = lacking.iter().map(|i| i.question.clone()).collect();
        let level = if earlier || is_teaching(visit) { Level::Note } else { Level::Look };
        let record = if earlier { " (in the earlier visit's record?)" } else { "" };
        let sentence = format!("{}?{record}", join(&questions));
        let source = format!("record_items ({})", first.source);
        out.add(level, tooth.number, &[], &[], sentence).source = source;
    }
}

fn other(visit: &Visit<'_>, settings: &Settings, out: &mut Out<'_>) {
    for tooth in recorded(visit) {
        let alone = |i: &Item| ASSESSMENT.contains(&i.key) || ALONE.contains(&i.key);
        let questions: Vec<String> = missing(visit, tooth, settings)
            .iter()
            .filter(|i| !alone(i))
            .map(|i| {
                let some = !i.canals.is_empty() && i.canals.len() < tooth.canals.len();
                if some { format!("{} in {}", i.question, join(&i.canals)) } else { i.question.clone() }
            })
            .collect();
        if !questions.is_empty() {
            let sentence = format!("not said (record items from memory): {}?", questions.join("; "));
            out.add(Level::Note, tooth.number, &[], &[], sentence);
        }
    }
}

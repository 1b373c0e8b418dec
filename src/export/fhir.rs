//! The log as a FHIR R4 (4.0.1) Bundle: a Procedure for each tooth, an Observation for each step, and where it comes from.
//!
//! Only what was done becomes data. A doubtful number is a text with "[?]", so that no machine takes it for a value; what was
//! planned, denied or said as a rule is a note of the Procedure. Units are UCUM, numbers are exact. Nothing is coded that the
//! log does not know: the patient is not named here.

mod observation;
mod times;

use serde_json::{Map, Value as Json, json};
use sha2::{Digest as _, Sha256};

use super::breath::breaths;
use super::record::{Standing, is_verified};
use super::{CAUTION, ExportError, escape, phrase, standing};
use crate::checks::visit::{Tooth, Visit};
use crate::log::{Entry, Log, Review, Status};
use times::Clock;

/// HL7's own example system for teeth: permanent teeth only, two digits as in ISO 3950.
const TOOTH: &str = "http://terminology.hl7.org/CodeSystem/ex-tooth";
const AGENT: &str = "http://terminology.hl7.org/CodeSystem/provenance-participant-type";

/// The Bundle as JSON. `now` is the time at which it is made, RFC 3339.
pub fn bundle(log: &Log, now: &str) -> Result<String, ExportError> {
    let clock = Clock::new(log);
    let standing = standing(log);
    let visit = Visit::of(log);
    let mut entries = Vec::new();
    let mut targets = Vec::new();
    let mut add = |url: String, resource: Json| {
        targets.push(json!({ "reference": url }));
        entries.push(json!({ "fullUrl": url, "resource": resource }));
    };
    let numbers: Vec<Option<&str>> =
        if visit.teeth.is_empty() { vec![None] } else { visit.teeth.iter().map(|t| t.number).collect() };
    for number in &numbers {
        let tooth = visit.teeth.iter().find(|t| t.number == *number);
        add(procedure_url(log, *number), procedure(log, &standing, &clock, *number, tooth));
    }
    let only = match log.case.teeth.as_slice() {
        [one] => Some(one.as_str()),
        _ => None,
    };
    for entry in log.entries.iter().filter(|e| e.status == Status::Done && e.kind != "tooth") {
        // A struck step whose tooth has no Procedure belongs to none.
        let number = entry.tooth.as_deref().or(only);
        let part_of = numbers.contains(&number).then(|| procedure_url(log, number));
        let resource =
            observation::observation(status(log, &standing, entry), &clock, entry, subject(log), part_of);
        add(url(log, &format!("entry {}", entry.id)), resource);
    }
    let stamp = times::instant(now);
    let provenance = provenance(log, &standing, &targets, stamp.as_deref());
    entries.push(json!({ "fullUrl": url(log, "provenance"), "resource": provenance }));
    let mut bundle = json!({ "resourceType": "Bundle", "type": "collection" });
    set(&mut bundle, "timestamp", stamp.map(Json::String));
    set(&mut bundle, "entry", Some(Json::Array(entries)));
    let text = serde_json::to_string_pretty(&bundle).map_err(|source| ExportError::Json { source })?;
    Ok(text + "\n")
}

fn set(resource: &mut Json, field: &str, value: Option<Json>) {
    if let (Some(map), Some(value)) = (resource.as_object_mut(), value) {
        map.insert(field.to_owned(), value);
    }
}

/// The same thing of the same recording has the same address in every Bundle: a UUID of version 8 (RFC 9562, section 5.8)
/// from a checksum.
fn url(log: &Log, what: &str) -> String {
    let mut hash = Sha256::new();
    for part in [log.source.sha256.as_str(), "\n", what] {
        hash.update(part);
    }
    let mut hex = crate::hex(&hash.finalize());
    hex.replace_range(12..13, "8");
    hex.replace_range(16..17, "8");
    let part = |from: usize, to: usize| hex.get(from..to).unwrap_or_default();
    format!("urn:uuid:{}-{}-{}-{}-{}", part(0, 8), part(8, 12), part(12, 16), part(16, 20), part(20, 32))
}

fn procedure_url(log: &Log, tooth: Option<&str>) -> String {
    url(log, &format!("procedure {}", tooth.unwrap_or("-")))
}

/// The practice's reference; the log knows no patient.
fn subject(log: &Log) -> Json {
    match log.case.reference.as_deref().map(string).filter(|r| !r.is_empty()) {
        Some(reference) => {
            json!({ "identifier": { "value": reference }, "display": "Patient of this reference" })
        }
        None => json!({ "display": "Patient not named in the log" }),
    }
}

/// A FHIR string: not empty, no control characters, no blanks around it.
fn string(text: &str) -> String {
    escape::plain(text).trim().to_owned()
}

/// Whether the code system has this tooth.
fn has_code(tooth: &str) -> bool {
    matches!(tooth.as_bytes(), [b'1'..=b'4', b'1'..=b'8'])
}

/// The tooth as a place; a doubtful one gets no code.
fn body_site(tooth: &str, canal: Option<&str>, doubtful: bool) -> Json {
    let canal = canal.map(|c| format!(", {c}")).unwrap_or_default();
    let mark = if doubtful { format!(" {}", phrase::MARK) } else { String::new() };
    let mut site = Map::new();
    if has_code(tooth) && !doubtful {
        site.insert("coding".to_owned(), json!([{ "system": TOOTH, "code": tooth }]));
    }
    site.insert("text".to_owned(), json!(string(&format!("Tooth {tooth} (ISO 3950){canal}{mark}"))));
    Json::Object(site)
}

fn procedure(
    log: &Log,
    standing: &Standing,
    clock: &Clock,
    number: Option<&str>,
    tooth: Option<&Tooth<'_>>,
) -> Json {
    let signed = standing.state != "draft";
    let mut resource = json!({
        "resourceType": "Procedure",
        // A draft does not say whether the treatment was carried through.
        "status": if signed { "completed" } else { "unknown" },
        "code": { "text": "Root canal treatment" },
        "subject": subject(log),
    });
    let steps: Vec<&Entry> = tooth.map(|t| t.steps.iter().map(|s| s.entry).collect()).unwrap_or_default();
    let done = || steps.iter().filter(|e| e.status == Status::Done);
    let from = done().map(|e| e.from_s).reduce(f64::min);
    let to = done().map(|e| e.to_s).reduce(f64::max);
    set(&mut resource, "performedPeriod", from.zip(to).and_then(|(from, to)| clock.period(from, to)));
    set(&mut resource, "bodySite", number.map(|n| json!([body_site(n, None, false)])));
    let mut notes: Vec<String> = Vec::new();
    if !signed {
        notes.push(CAUTION.to_owned());
    }
    for (status, how) in [(Status::Planned, "Planned"), (Status::NotDone, "NOT done")] {
        notes.extend(
            steps
                .iter()
                .filter(|e| e.status == status)
                .map(|e| format!("{how}: {}", super::record::with_kind(e))),
        );
    }
    for breath in breaths(log) {
        let here = |e: &&&Entry| steps.iter().any(|s| s.id == e.id);
        if breath
            .entries
            .iter()
            .filter(here)
            .any(|e| matches!(e.status, Status::Conditional | Status::General))
        {
            notes.push(format!("Said under a condition or as a rule, not done here: “{}”", breath.said));
        }
    }
    set(&mut resource, "note", annotations(&notes));
    resource
}

fn annotations(notes: &[String]) -> Option<Json> {
    let notes: Vec<Json> =
        notes.iter().map(|n| string(n)).filter(|n| !n.is_empty()).map(|n| json!({ "text": n })).collect();
    (!notes.is_empty()).then_some(Json::Array(notes))
}

/// Made by the program; verified by the person who signed.
fn provenance(log: &Log, standing: &Standing, targets: &[Json], now: Option<&str>) -> Json {
    let agent = |code: &str, who: String| json!({ "type": { "coding": [{ "system": AGENT, "code": code }] }, "who": { "display": string(&who) } });
    let program = format!("{} {}", log.made_by.program, log.made_by.program_version);
    let mut agents = vec![agent("assembler", format!("{} (draft from dictation)", program.trim()))];
    let mut resource = json!({ "resourceType": "Provenance", "target": targets });
    // `recorded` is demanded; where no time is known, the first second of the era says so.
    let mut recorded = now.map_or("1970-01-01T00:00:00Z".to_owned(), str::to_owned);
    if standing.state != "draft" {
        let who = [&standing.name, &standing.role]
            .into_iter()
            .map(|t| string(t))
            .filter(|t| !t.is_empty())
            .collect::<Vec<_>>();
        agents.push(agent("verifier", if who.is_empty() { "not named".to_owned() } else { who.join(", ") }));
        // What was amended later was not yet known when it was signed.
        if standing.state == "signed" {
            recorded = times::instant(&standing.at).unwrap_or(recorded);
        }
    }
    set(&mut resource, "recorded", Some(json!(recorded)));
    set(&mut resource, "agent", Some(Json::Array(agents)));
    let file = string(&log.source.file);
    let mut what = json!({ "display": if file.is_empty() { "recording".to_owned() } else { file } });
    let sum = string(&log.source.sha256);
    set(
        &mut what,
        "identifier",
        (!sum.is_empty()).then(|| json!({ "system": "urn:tugback-log:sha256", "value": sum })),
    );
    set(&mut resource, "entity", Some(json!([{ "role": "source", "what": what }])));
    resource
}

/// preliminary until signed; then final, amended where it was changed since, and preliminary still where nobody verified it.
fn status(log: &Log, standing: &Standing, entry: &Entry) -> &'static str {
    if entry.review == Review::Struck {
        return "entered-in-error";
    }
    if standing.state == "draft" || !is_verified(entry) {
        return "preliminary";
    }
    let signed_at = log.history.iter().rposition(|c| c.field == "signature").map_or(0, |at| at + 1);
    let changed = log.history.iter().skip(signed_at).any(|c| c.entry.as_deref() == Some(entry.id.as_str()));
    if changed && standing.state == "amended" { "amended" } else { "final" }
}

#[cfg(test)]
mod tests;

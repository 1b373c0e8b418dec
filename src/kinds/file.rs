//! A kind file → a [`Kind`]. Unknown keys, slots and vocabularies are refused.

use indexmap::IndexMap;
use serde::Deserialize;

use super::{Example, Field, Heard, Is, Kind, Place, Rule, Silent, Takes, TakesTo, pattern::Pattern};
use crate::{
    log::{Status, Value},
    words::{Decimal, slot::Slot},
};

/// What is wrong with a kind file.
#[derive(Debug, thiserror::Error)]
pub enum KindError {
    #[error("`{file}`: {source}")]
    Toml { file: String, source: Box<toml::de::Error> },
    #[error("`{file}`: {what}")]
    Content { file: String, what: String },
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct KindFile {
    kind: String,
    about: String,
    place: String,
    #[serde(default)]
    each: Vec<String>,
    #[serde(default)]
    else_each: Vec<String>,
    #[serde(default)]
    lacks: Vec<(String, String, String)>,
    #[serde(default)]
    each_in_its_canal: bool,
    #[serde(default)]
    goes_on: bool,
    #[serde(default)]
    foretells: bool,
    #[serde(default)]
    uses: Vec<String>,
    #[serde(default)]
    never: Vec<Status>,
    #[serde(default)]
    not_with: Vec<String>,
    #[serde(default)]
    attributes: Vec<String>,
    #[serde(default)]
    attempted: Vec<String>,
    #[serde(default)]
    not_behind: Vec<String>,
    #[serde(default)]
    not_after: Vec<String>,
    #[serde(default)]
    wary: Vec<String>,
    #[serde(default)]
    not_among: Vec<String>,
    #[serde(default)]
    facts: bool,
    #[serde(default)]
    recalled: bool,
    #[serde(default)]
    beside: bool,
    rest: Option<String>,
    #[serde(default)]
    own_clause: Vec<String>,
    #[serde(default)]
    explains: Vec<String>,
    #[serde(default)]
    either: Vec<String>,
    #[serde(default)]
    fields: IndexMap<String, FieldFile>,
    #[serde(default)]
    rule: Vec<RuleFile>,
    #[serde(default)]
    example: Vec<ExampleFile>,
    #[serde(default)]
    silent: Vec<SilentFile>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct FieldFile {
    is: String,
    #[serde(default)]
    about: String,
    #[serde(default)]
    hear: Vec<String>,
    plausible: Option<(f64, f64)>,
    windows: Option<(String, String)>,
    only_with: Option<(String, Vec<String>)>,
    #[serde(default)]
    but_not: Vec<String>,
    #[serde(default)]
    as_done: bool,
    source: Option<String>,
    #[serde(default)]
    joins: bool,
    #[serde(default)]
    of_list: bool,
    #[serde(default)]
    together: Vec<(String, String, String)>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct RuleFile {
    id: String,
    hear: Vec<String>,
    #[serde(default = "one")]
    weight: f32,
    status: Option<Status>,
    #[serde(default)]
    sets: IndexMap<String, Value>,
    takes: Option<String>,
    #[serde(default)]
    to: String,
    #[serde(default)]
    with_rule: bool,
    #[serde(default)]
    needs: Vec<String>,
    doubt: Option<(String, String)>,
    #[serde(default)]
    whole: bool,
    #[serde(default)]
    starts: bool,
    #[serde(default)]
    opening: bool,
    #[serde(default)]
    known: bool,
    #[serde(default)]
    past: bool,
    #[serde(default)]
    next: bool,
    #[serde(default)]
    seeks: bool,
    #[serde(default)]
    yields: bool,
    #[serde(default)]
    amends: bool,
    turns: Option<(String, String)>,
    #[serde(default)]
    turns_to: bool,
}

const fn one() -> f32 {
    1.0
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct ExampleFile {
    said: String,
    #[serde(default)]
    gives: IndexMap<String, Value>,
    #[serde(default)]
    status: Status,
    #[serde(default)]
    doubts: Vec<String>,
}

#[derive(Deserialize)]
#[serde(deny_unknown_fields)]
struct SilentFile {
    said: String,
    why: String,
}

pub(super) fn read(file: &str, text: &str) -> Result<Kind, KindError> {
    let raw: KindFile =
        toml::from_str(text).map_err(|e| KindError::Toml { file: file.to_owned(), source: Box::new(e) })?;
    let wrong = |what: String| KindError::Content { file: file.to_owned(), what };
    let place = match raw.place.as_str() {
        "canal" => Place::Canal,
        "tooth" => Place::Tooth,
        "names-canals" => Place::NamesCanals,
        "names-teeth" => Place::NamesTeeth,
        other => {
            return Err(wrong(format!("place `{other}` is not canal, tooth, names-canals or names-teeth")));
        }
    };
    let mut fields = IndexMap::new();
    for (name, f) in raw.fields {
        let field = field(&f).map_err(|what| wrong(format!("field `{name}`: {what}")))?;
        fields.insert(name, field);
    }
    let mut rules = Vec::new();
    for r in raw.rule {
        for name in r.sets.keys().chain(&r.needs).chain(r.takes.as_ref()) {
            if !fields.contains_key(name) {
                return Err(wrong(format!("rule `{}` speaks of `{name}`, which is no field", r.id)));
            }
        }
        rules.push(rule(r).map_err(wrong)?);
    }
    let explains = raw.explains.iter().map(|p| Pattern::parse(p)).collect::<Result<_, _>>().map_err(wrong)?;
    let examples = raw
        .example
        .into_iter()
        .map(|e| Example { said: e.said, gives: e.gives, status: e.status, doubts: e.doubts })
        .collect();
    let silent = raw.silent.into_iter().map(|s| Silent { said: s.said, why: s.why }).collect();
    Ok(Kind {
        name: raw.kind,
        about: raw.about,
        place,
        each: raw.each,
        else_each: raw.else_each,
        lacks: raw.lacks,
        each_in_its_canal: raw.each_in_its_canal,
        goes_on: raw.goes_on,
        foretells: raw.foretells,
        uses: raw.uses,
        never: raw.never,
        not_with: raw.not_with,
        attributes: raw.attributes,
        attempted: raw.attempted,
        not_behind: raw.not_behind,
        not_after: raw.not_after,
        wary: raw.wary,
        not_among: raw.not_among,
        facts: raw.facts,
        either: raw.either,
        recalled: raw.recalled,
        beside: raw.beside,
        rest: raw.rest,
        own_clause: raw.own_clause,
        explains,
        fields,
        rules,
        examples,
        silent,
    })
}

fn rule(r: RuleFile) -> Result<Rule, String> {
    let hear = r
        .hear
        .iter()
        .map(|h| Pattern::parse(h))
        .collect::<Result<_, _>>()
        .map_err(|what| format!("rule `{}`: {what}", r.id))?;
    let to = match r.to.as_str() {
        "" | "sentence" => TakesTo::Sentence,
        "breath" => TakesTo::Breath,
        "next" => TakesTo::Next,
        "whole-sentence" => TakesTo::WholeSentence,
        other => return Err(format!("rule `{}`: `to = {other}` is not known", r.id)),
    };
    let with_rule = r.with_rule || to == TakesTo::WholeSentence;
    Ok(Rule {
        id: r.id,
        hear,
        weight: r.weight,
        status: r.status,
        sets: r.sets,
        takes: r.takes.map(|field| Takes { field, to, with_rule }),
        needs: r.needs,
        doubt: r.doubt,
        whole: r.whole,
        starts: r.starts,
        opening: r.opening,
        known: r.known,
        past: r.past,
        yields: r.yields,
        amends: r.amends,
        turns: r.turns,
        turns_to: r.turns_to,
        next: r.next,
        seeks: r.seeks,
    })
}

fn field(f: &FieldFile) -> Result<Field, String> {
    let is = match f.is.strip_prefix("term:") {
        Some(vocabulary) => Is::Term(vocabulary.to_owned()),
        None if f.is == "text" => Is::Text,
        None => Is::Number(Slot::named(&f.is).ok_or(format!("`{}` is no slot", f.is))?),
    };
    let mut hear = f.hear.iter().map(|h| heard(h, &is)).collect::<Result<Vec<_>, _>>()?;
    // The plain term is always a way of saying the field.
    if let Is::Term(v) = &is {
        hear.push(heard(&format!("{{{v}}}"), &is)?);
    }
    if f.plausible.is_some() && f.source.is_none() {
        return Err("a bound needs its `source`".to_owned());
    }
    if let Some((table, _)) = f.windows.as_ref().filter(|(table, _)| crate::tables::table(table).is_none()) {
        return Err(format!("`{table}` is no table"));
    }
    let bound = |x: f64| Decimal::from_f64(x).ok_or("a bound is out of range".to_owned());
    let plausible = f.plausible.map(|(a, b)| Ok::<_, String>((bound(a)?, bound(b)?))).transpose()?;
    Ok(Field {
        is,
        about: f.about.clone(),
        hear,
        plausible,
        windows: f.windows.clone(),
        only_with: f.only_with.clone(),
        but_not: f.but_not.iter().map(|p| Pattern::parse(p)).collect::<Result<_, _>>()?,
        as_done: f.as_done,
        source: f.source.clone(),
        joins: f.joins,
        of_list: f.of_list,
        together: f.together.clone(),
    })
}

/// `pattern`, `pattern => value`, `pattern => @same`, `pattern ?? reason for a doubt`.
fn heard(text: &str, is: &Is) -> Result<Heard, String> {
    let (text, doubt) = text.split_once(" ?? ").map_or((text, None), |(t, d)| (t, Some(d.trim().to_owned())));
    let (pattern, gives) = text.split_once("=>").map_or((text, None), |(p, v)| (p, Some(v.trim())));
    let same = gives == Some("@same");
    let gives = gives.filter(|_| !same).map(|v| match (is, v.parse()) {
        (Is::Number(Slot::Tooth | Slot::ToothDigits | Slot::Lot | Slot::Ratio), _) => {
            Ok(Value::Text(v.to_owned()))
        }
        (Is::Number(_), Ok(n)) => Ok(Value::Number(n)),
        (Is::Number(_), Err(_)) => Err(format!("`{v}` is no number")),
        _ => Ok(Value::Text(v.to_owned())),
    });
    Ok(Heard { pattern: Pattern::parse(pattern)?, gives: gives.transpose()?, same, doubt })
}

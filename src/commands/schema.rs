//! `tugback schema`: the JSON Schema of the log, to stdout.

use crate::{
    commands::{Done, print},
    kinds::{self, Field, Is, Kind},
    log::{
        Value,
        schema::{self, FieldShape, KindShape, Shape},
    },
    words::{slot::Slot, vocabulary},
};

pub(super) fn run() -> miette::Result<Done> {
    let kinds: Vec<KindShape> = kinds::BUILT_IN.all.iter().map(kind).collect();
    print(&format!("{:#}\n", schema::schema(&kinds)))?;
    Ok(Done::Well)
}

fn kind(kind: &Kind) -> KindShape {
    let fields = kind.fields.iter().map(|(name, field)| FieldShape {
        name: name.clone(),
        about: field.about.clone(),
        shape: shape(kind, name, field),
    });
    KindShape { kind: kind.name.clone(), about: kind.about.clone(), fields: fields.collect() }
}

fn shape(kind: &Kind, name: &str, field: &Field) -> Shape {
    match &field.is {
        Is::Number(Slot::Ratio | Slot::Tooth | Slot::ToothDigits | Slot::Lot) => Shape::Text(vec![]),
        Is::Number(Slot::Count) => Shape::Count(field.plausible),
        Is::Number(_) => Shape::Number(field.plausible),
        Is::Term(terms) => {
            let terms = vocabulary::BUILT_IN.values(terms).iter().map(ToString::to_string);
            Shape::Text(with_given(terms.collect(), kind, name, field))
        }
        Is::Text => Shape::Text(with_given(vec![], kind, name, field)),
    }
}

/// And the words that a way of saying the field, or a rule of the kind, stands for.
fn with_given(mut words: Vec<String>, kind: &Kind, name: &str, field: &Field) -> Vec<String> {
    let heard = field.hear.iter().filter_map(|h| h.gives.as_ref());
    let set = kind.rules.iter().filter_map(|r| r.sets.get(name));
    for word in heard.chain(set).filter_map(Value::text) {
        if !words.iter().any(|w| w == word) {
            words.push(word.to_owned());
        }
    }
    words
}

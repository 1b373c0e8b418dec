//! "MB and DB with tug-back at twenty and nineteen and a half respectively": values that are told after their canals, in the
//! same order.

use super::{
    canals::{Mention, canal},
    fill::{Draft, Named, Piece, Stretch},
};
use crate::{
    kinds::{Is, Kind},
    log::Value,
    words::{
        line::Line,
        slot::{self, Slot},
    },
};

/// So many items a list of numbers may have.
const LONGEST: usize = 24;

/// Takes the numbers that stand in order before "respectively" out of the pieces: one piece for each, of the field that
/// one of them was heard for. Fields that make an entry each have an order of their own.
pub(super) fn take(s: &Stretch<'_>, k: &Kind, pieces: &mut Vec<Piece>) -> Vec<Piece> {
    let line = s.line;
    let Some(word) = s.items.clone().find(|&i| line.is_word(i, "respectively")) else { return vec![] };
    let small = |i: usize| line.is_mark(i, ",") || line.is_word(i, "and") || line.unit(i).is_some();
    let from = (s.items.start.max(word.saturating_sub(LONGEST))..word)
        .rev()
        .take_while(|&i| line.atom(i).is_some() || small(i))
        .last()
        .unwrap_or(word);
    let of_list = |p: &Piece| p.items.end > from && p.items.start < word;
    let numbered = |p: &&Piece| !p.lead && of_list(p) && p.value.as_ref().and_then(Value::number).is_some();
    let Some(model) = pieces.iter().rev().find(numbered).cloned() else { return vec![] };
    let Some(Is::Number(slot)) = k.fields.get(&model.field).map(|f| &f.is) else { return vec![] };
    let mut out = Vec::new();
    let mut i = from;
    while i < word {
        let reading = slot::read(*slot, line, i).or_else(|| slot::read(Slot::Bare, line, i));
        let Some(reading) = reading.filter(|r| r.taper.is_none()) else {
            i += 1;
            continue;
        };
        let doubts = reading.doubts.iter().map(|d| {
            (d.reason.clone(), d.alternatives.iter().map(|v| Value::Number(*v)).collect::<Vec<_>>())
        });
        out.push(Piece {
            value: Some(Value::Number(reading.value)),
            items: i..reading.end,
            doubts: doubts.collect(),
            ..model.clone()
        });
        i = reading.end.max(i + 1);
    }
    if out.len() < 2 {
        return vec![];
    }
    pieces.retain(|p| !(p.items.start >= from && p.items.start < word) && p.field != model.field);
    out
}

/// Gives each entry of a list, or each canal that is named, its own of these values. Where their numbers differ, the last
/// stands for all, with a doubt.
pub(super) fn put(drafts: &mut Vec<Draft>, mentions: &[Mention], values: Vec<Piece>, line: &Line) {
    let Some(last) = values.last().cloned() else { return };
    let names: Vec<(String, &Mention)> =
        mentions.iter().flat_map(|m| m.names.iter().map(move |n| (n.clone(), m))).collect();
    if drafts.len() == values.len() {
        for (draft, piece) in drafts.iter_mut().zip(values) {
            draft.pieces.push(piece);
        }
    } else if let ([draft], true) = (drafts.as_slice(), names.len() == values.len()) {
        let each = names.into_iter().zip(values).map(|((name, mention), piece)| {
            let canal = Named { canal: canal(vec![name]), items: mention.items.clone(), unsure: false };
            let pieces = draft.pieces.iter().cloned().chain([piece]).collect();
            Draft { pieces, canal: Some(canal) }
        });
        *drafts = each.collect();
    } else {
        let said = values.iter().map(|p| line.spoken(p.items.start, p.items.end)).collect::<Vec<_>>();
        let reason = format!("\"{}\": which is of which canal was not understood", said.join(", "));
        let others: Vec<Value> = values.iter().rev().skip(1).filter_map(|p| p.value.clone()).collect();
        for draft in drafts {
            let mut piece = last.clone();
            piece.doubts.push((reason.clone(), others.clone()));
            draft.pieces.push(piece);
        }
    }
}

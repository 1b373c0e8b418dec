//! What a later breath adds to an entry: attributes without a kind of their own, and the list that they are said of.

use std::ops::Range;

use super::{
    amend::{APART, LOOK_BACK, SMALL, fits, same_tooth, strange_words},
    fill::{Draft, Filled, Piece},
    segment::Segment,
    sentence::cue,
    session::{At, Session},
};
use crate::{
    kinds::{Kind, Place},
    log::{Canal, Status, Value},
    words::line::What,
};

/// So many entries of a breath back a list reaches: long breaths stay linear.
const OF_BREATH: usize = 16;

/// Does an entry hold another of the fields of which there is one only, or what a field does not go with?
fn holds_other(k: &Kind, values: &indexmap::IndexMap<String, Value>, pieces: &[Piece]) -> bool {
    let alien = |p: &Piece| {
        let only = k.fields.get(&p.field).and_then(|f| f.only_with.as_ref());
        only.is_some_and(|(other, these)| {
            let is = values.get(other).and_then(Value::text);
            is.is_some_and(|is| !these.iter().any(|t| t == is))
        })
    };
    if pieces.iter().any(alien) {
        return true;
    }
    let either = |f: &String| k.either.contains(f);
    values.keys().any(either) && pieces.iter().any(|p| either(&p.field) && !values.contains_key(&p.field))
}

/// Plain words outside of the pieces that are signs of the kind itself ("thirty gauge | needle").
fn signs(at: &At<'_>, items: &Range<usize>, kind: usize, pieces: &[Piece]) -> usize {
    let sign = |i: usize| {
        let over = items.start..i + 1;
        super::hits::within(&at.hits, &over)
            .any(|h| h.kind == kind && matches!(h.of, super::hits::Of::Rule(_)) && h.end > i)
    };
    items
        .clone()
        .filter(|i| !pieces.iter().any(|p| p.items.contains(i)))
        .filter(|&i| matches!(at.line.items.get(i).map(|it| &it.what), Some(What::Word)))
        .filter(|&i| !SMALL.contains(&at.line.text(i)) && sign(i))
        .count()
}

impl Session<'_> {
    /// "red file to length" – "size twenty five, that was", "that blue one's a thirty": the value that the entry just made
    /// was missing, with words that point at it.
    pub(super) fn says_what_lacked(
        &mut self,
        at: &At<'_>,
        segment: &Segment,
        kind: usize,
        draft: &Draft,
    ) -> bool {
        let line = &at.line;
        let Some(k) = self.x.kinds.all.get(kind) else { return false };
        let points = |i: usize| line.is_one_of(i, &["was", "were", "is", "it's", "that's", "one's", "being"]);
        let value =
            |field: &str| draft.pieces.iter().find(|p| p.field == field).and_then(|p| p.value.as_ref());
        let lacked = k.lacks.iter().find(|(said, missing, _)| {
            value(missing).is_some() && draft.pieces.iter().all(|p| p.field == *said || p.field == *missing)
        });
        let Some((said, missing, _)) = lacked.filter(|_| draft.canal.is_none()) else { return false };
        if !segment.items.clone().any(points) && value(said).is_none() {
            return false;
        }
        let near = |i: &usize| self.notes.get(*i).is_some_and(|n| n.kind == kind && n.breath + 2 >= at.n);
        let target = self.live().take(2).filter(near).find(|&i| {
            self.entries.get(i).is_some_and(|e| {
                e.tooth == self.tooth
                    && e.values.contains_key(said)
                    && !e.values.contains_key(missing)
                    && value(said).is_none_or(|v| e.values.get(said) == Some(v))
            })
        });
        let Some(target) = target else { return false };
        self.change(at, &segment.items, target, draft, false);
        true
    }

    /// "the hypo was three mils, sorry", "that lidocaine was two cartridges": told anew of a step that has this name.
    pub(super) fn says_of_named(
        &mut self,
        at: &At<'_>,
        segment: &Segment,
        kind: usize,
        draft: &Draft,
    ) -> bool {
        let line = &at.line;
        let name = draft.pieces.iter().find(|p| p.value.as_ref().is_some_and(|v| v.text().is_some()));
        let Some(name) = name else { return false };
        let was = (name.items.end..name.items.end + 2).any(|i| line.is_one_of(i, &["was", "were"]));
        let from =
            line.sentence_start(segment.items.start).max(segment.items.start.saturating_sub(LOOK_BACK));
        let to = line.sentence_end(segment.items.end.saturating_sub(1)).min(segment.items.end + LOOK_BACK);
        let that = name.items.start > 0 && line.is_word(name.items.start - 1, "that");
        let turns = that
            || (from..to).any(|i| {
                let sorry = line.holds_one_of(i, &["sorry", "mistake", "actually", "correction"]);
                sorry || cue(line, i, "repair") && super::sentence::takes_back(line, i)
            });
        let Some(target) = self.same_name(kind, draft).filter(|_| was) else { return false };
        let Some(old) = self.entries.get(target) else { return false };
        let before = self.notes.get(target).is_some_and(|n| n.breath < at.n && n.breath + LOOK_BACK >= at.n);
        let rest: Vec<Piece> = draft.pieces.iter().filter(|p| p.field != name.field).cloned().collect();
        let lacks = rest.iter().all(|p| !old.values.contains_key(&p.field));
        let the = name.items.start.checked_sub(1);
        let the = the.is_some_and(|b| line.is_one_of(b, &["the", "that"]));
        if !before || old.status != Status::Done || !(turns || lacks && the) {
            return false;
        }
        self.change(at, &segment.items, target, &Draft { pieces: rest, canal: None }, turns);
        true
    }

    /// "that was through a thirty gauge needle, two millimetres short": of the step of the kind that was just told.
    pub(super) fn says_attributes(
        &mut self,
        at: &At<'_>,
        segment: &Segment,
        kind: usize,
        draft: &Draft,
    ) -> bool {
        let Some(k) = self.x.kinds.all.get(kind) else { return false };
        let attributes = draft.pieces.iter().all(|p| k.attributes.contains(&p.field) && p.value.is_some());
        let anew = segment.items.clone().any(|i| cue(&at.line, i, "again") || cue(&at.line, i, "then"));
        if draft.pieces.is_empty() || !attributes || draft.canal.is_some() || anew {
            return false;
        }
        let Some(last) = self.live().next() else { return false };
        let near = self.notes.get(last).is_some_and(|n| n.kind == kind && n.breath + 1 >= at.n);
        let lacks = self.entries.get(last).is_some_and(|e| {
            let done = e.status == Status::Done && e.tooth == self.tooth;
            done && draft.pieces.iter().all(|p| !e.values.contains_key(&p.field))
        });
        if !near || !lacks {
            return false;
        }
        self.change(at, &segment.items, last, draft, false);
        true
    }
}

/// An attribute without a kind of its own completes the last entry that lacks it; "all", "both", "those" complete a list.
pub(super) fn completes(s: &mut Session<'_>, at: &mut At<'_>, items: &Range<usize>) -> bool {
    // "half short is fine": an opinion.
    let accepts = |i: usize| {
        at.line.is_one_of(i, &["is", "was", "that's", "it's"])
            && at.line.is_one_of(
                i + 1,
                &["fine", "ok", "okay", "good", "enough", "plenty", "perfect", "acceptable"],
            )
    };
    if items.clone().any(accepts) && !items.clone().any(|i| at.line.unit(i).is_some()) {
        return false;
    }
    // Where the breath has an entry of its own, it is that one's.
    let own = s.notes.last().is_some_and(|n| n.breath == at.n);
    let of_breath = |i: &usize| !own || s.notes.get(*i).is_some_and(|n| n.breath == at.n);
    let candidates: Vec<usize> = s.live().take(LOOK_BACK).filter(of_breath).collect();
    let list = items.clone().any(|i| {
        matches!(at.line.term(i, "canals"), Some("all?" | "all"))
            || at.line.is_one_of(i, &["those", "these", "them", "everything"])
    });
    for &i in &candidates {
        let Some(kind) = s.notes.get(i).map(|n| n.kind) else { continue };
        let Some(k) = s.x.kinds.all.get(kind) else { continue };
        if !k.goes_on || !same_tooth(s, i) {
            continue;
        }
        let Some(filled) = s.reading_of(at, items, kind) else { continue };
        let [draft] = filled.drafts.as_slice() else { continue };
        let certain = draft
            .pieces
            .iter()
            .all(|p| p.weight >= 2 || p.value.as_ref().is_some_and(|v| v.text().is_some()));
        if draft.pieces.is_empty()
            || !certain
            || !draft.pieces.iter().all(|p| fits(k, p))
            || !filled.leftover.is_empty()
            || strange_words(at, items, &draft.pieces) > signs(at, items, kind, &draft.pieces)
            || draft.pieces.iter().any(|p| p.lead)
        {
            continue;
        }
        let lacks = |s: &Session<'_>, t: usize| {
            s.entries.get(t).is_some_and(|e| {
                e.status == Status::Done
                    && !holds_other(k, &e.values, &draft.pieces)
                    && draft.pieces.iter().all(|p| {
                        !e.values.contains_key(&p.field) || p.value == e.values.get(&p.field).cloned()
                    })
            })
        };
        if !lacks(s, i) {
            continue;
        }
        let draft = Draft { pieces: draft.pieces.clone(), canal: draft.canal.clone() };
        // "all to length": those of a list that hangs together.
        let mut near = at.n;
        let together = |t: &usize| {
            let breath = s.notes.get(*t).map_or(0, |n| n.breath);
            let of = s.notes.get(*t).is_some_and(|n| n.kind == kind);
            let joins = !of || breath + APART >= near;
            near = if of { breath } else { near };
            joins
        };
        let of_kind: Vec<usize> = s
            .live()
            .take(12)
            .take_while(together)
            .filter(|&t| s.notes.get(t).is_some_and(|n| n.kind == kind) && same_tooth(s, t) && lacks(s, t))
            .collect();
        let targets: Vec<usize> = match &draft.canal {
            Some(named) if !matches!(&named.canal, Canal::One(c) if c == "all" || c == super::canals::BOTH) => {
                of_kind
                    .into_iter()
                    .filter(|&t| {
                        s.entries.get(t).and_then(|e| e.canal.as_ref()).is_some_and(|c| {
                            *c == named.canal || c.names().iter().all(|n| named.canal.names().contains(n))
                        })
                    })
                    .collect()
            }
            _ if list || draft.canal.is_some() => of_kind,
            _ => vec![i],
        };
        if targets.is_empty() {
            continue;
        }
        let bare = Draft { canal: None, ..draft };
        // "wait, phone. Two minutes.": told among other things.
        let word = |i: usize| {
            let word = at.line.items.get(i).is_some_and(|it| it.what == What::Word);
            word && !SMALL.contains(&at.line.text(i))
        };
        let others = (0..at.placed.len()).filter(|i| !items.contains(i) && at.placed.get(*i) == Some(&false));
        let talks =
            |i: usize| ["talk", "patient", "elsewhere", "hold"].iter().any(|class| cue(&at.line, i, class));
        let among = others.filter(|&i| word(i)).count() > 0 || (0..at.placed.len()).any(talks);
        for t in targets {
            s.change(at, items, t, &bare, false);
            for p in
                bare.pieces.iter().filter(|p| among && p.value.as_ref().is_some_and(|v| v.number().is_some()))
            {
                if let Some(entry) = s.entries.get_mut(t) {
                    super::session::push_doubt(entry, &p.field, "told among words of something else", &[]);
                }
            }
        }
        return true;
    }
    false
}

/// "… one cartridge, inferior alveolar block", "…, all with tug-back": what names the kind of the entry just made in this
/// breath, and only what that one lacks, belongs to it; "all" and "both" mean the list.
pub(super) fn belongs(
    s: &mut Session<'_>,
    at: &At<'_>,
    items: &Range<usize>,
    filled: &Filled,
    status: Status,
    bare: bool,
) -> bool {
    let [draft] = filled.drafts.as_slice() else { return false };
    let Some(k) = s.x.kinds.all.get(filled.kind).filter(|k| k.goes_on) else { return false };
    let anew = |i: usize| cue(&at.line, i, "then") || cue(&at.line, i, "again");
    if draft.pieces.is_empty()
        || draft.pieces.iter().any(|p| p.lead)
        || !draft.pieces.iter().all(|p| fits(k, p))
        || !filled.leftover.is_empty()
        || items.clone().any(anew)
    {
        return false;
    }
    let lacks = |s: &Session<'_>, t: usize| {
        s.entries.get(t).is_some_and(|e| {
            e.status == status
                && !holds_other(k, &e.values, &draft.pieces)
                && draft.pieces.iter().all(|p| match e.values.get(&p.field) {
                    None => true,
                    // Said again, it is no second step; of a canal it may be.
                    Some(old) => {
                        let word = old.text().is_some() && draft.canal.is_none();
                        (k.place == Place::Tooth || word) && p.value.as_ref() == Some(old)
                    }
                })
                && (status != Status::NotDone || e.values.is_empty())
        })
    };
    let of = |breath: usize, t: usize| {
        s.notes.get(t).is_some_and(|n| n.breath == breath && n.kind == filled.kind) && same_tooth(s, t)
    };
    let near = s.live().take(OF_BREATH).take_while(|&t| of(at.n, t));
    let mut of_breath: Vec<usize> = near.filter(|&t| lacks(s, t)).collect();
    if of_breath.is_empty() && status == Status::Done && bare {
        // "paper points, all four" – "size thirty": what the last entry lacks may come with the next breath.
        let explained = signs(at, items, filled.kind, &draft.pieces) + usize::from(draft.pieces.len() > 1);
        let plain = strange_words(at, items, &draft.pieces) <= explained;
        let before = |t: &usize| plain && of(at.n.wrapping_sub(1), *t) && lacks(s, *t);
        of_breath = s.live().take(1).filter(before).collect();
    }
    let Some(&last) = of_breath.first() else { return false };
    let same_canal = |t: &usize, c: &Canal| s.entries.get(*t).is_some_and(|e| e.canal.as_ref() == Some(c));
    let targets: Vec<usize> = match draft.canal.as_ref().map(|n| &n.canal) {
        Some(Canal::One(c)) if c == "all" || c == super::canals::BOTH => {
            let list = |t: usize| {
                s.entries.get(t).and_then(|e| e.canal.as_ref()).is_some_and(|c| c.names().len() > 1)
            };
            if of_breath.len() < 2 && k.place != Place::Tooth && !list(last) {
                return false;
            }
            of_breath
        }
        Some(c) => of_breath.into_iter().filter(|t| same_canal(t, c)).collect(),
        None => vec![last],
    };
    let bare = Draft { canal: None, ..draft.clone() };
    for &t in &targets {
        s.change(at, items, t, &bare, false);
    }
    !targets.is_empty()
}

//! The expectations: what held, by how much, what broke; a click goes there.

use bevy_egui::egui::{self, RichText, ScrollArea, Ui};
use trimproof_harness::card::text;

use super::Desk;
use crate::look::colour;
use crate::story::{Clock, SourceState, Story, Told};

/// Most broken expectations that a picture names.
const MOST_TOLD: usize = 2;

/// Draws the list.
pub(super) fn show(ui: &mut Ui, story: &Story, clock: &mut Clock, desk: &mut Desk) {
    ui.horizontal(|ui| {
        ui.label(RichText::new("expectations").strong());
        if desk.chosen.is_some() && ui.button("show all again").on_hover_text("Esc").clicked() {
            desk.forget();
        }
    });
    if let Some(told) = desk.chosen.and_then(|index| story.told.get(index)) {
        ui.label(RichText::new(detail(told)).small());
    }
    ScrollArea::vertical()
        .id_salt("expectations")
        .auto_shrink([false, false])
        .show(ui, |ui| {
            for index in order(&story.told) {
                let told = &story.told[index];
                let chosen = desk.chosen == Some(index);
                let response =
                    ui.add(egui::Button::selectable(chosen, line(told, is_over(story))).truncate());
                let mut more = told.that.clone();
                if let Some(because) = &told.because {
                    more.push_str("\nbecause ");
                    more.push_str(because);
                }
                if response.on_hover_text(more).clicked() {
                    look_at(index, story, clock, desk);
                }
            }
        });
}

/// The expectation that a picture is about, above its plots.
pub(super) fn caption(ui: &mut Ui, story: &Story, desk: &Desk) {
    if let Some(told) = desk.chosen.and_then(|index| story.told.get(index)) {
        ui.label(line(told, is_over(story)).strong());
        ui.label(RichText::new(detail(told)).small());
        ui.separator();
        return;
    }
    let broken = story.told.iter().filter(|told| told.is_broken());
    for told in broken.take(MOST_TOLD) {
        ui.add(egui::Label::new(line(told, true)).truncate());
    }
}

/// Goes to an expectation's worst instant and shows what it is about.
pub(super) fn look_at(index: usize, story: &Story, clock: &mut Clock, desk: &mut Desk) {
    if let Some(at_s) = desk.choose(index, story) {
        clock.pause();
        clock.jump(at_s);
    }
}

/// The next broken expectation after the one that is looked at; the first one if none is. `None` if nothing is broken.
pub(super) fn next_broken(told: &[Told], from: Option<usize>, back: bool) -> Option<usize> {
    let mut broken: Vec<usize> = (0..told.len())
        .filter(|index| told[*index].is_broken())
        .collect();
    if back {
        broken.reverse();
    }
    let beyond =
        |index: &&usize| from.is_none_or(|from| if back { **index < from } else { **index > from });
    broken.iter().find(beyond).or(broken.first()).copied()
}

/// The broken first, else as in the file.
fn order(told: &[Told]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..told.len()).collect();
    order.sort_by_key(|index| !told[*index].is_broken());
    order
}

/// Nothing more will come: what is not judged now will not be.
fn is_over(story: &Story) -> bool {
    !matches!(story.source, SourceState::Reading | SourceState::Running)
}

fn line(told: &Told, is_over: bool) -> RichText {
    match &told.judgement {
        None => {
            let word = if is_over { "not judged" } else { "to come" };
            RichText::new(format!("{word}   {}", told.name)).color(colour::SOFT_INK)
        }
        Some(judgement) => {
            let word = if judgement.held { "held" } else { "BROKEN" };
            let margin = if judgement.margin.is_finite() {
                format!("  {}", text::margin(judgement.margin, &judgement.unit))
            } else {
                String::new()
            };
            let ink = if judgement.held {
                colour::INK
            } else {
                colour::VERMILLION
            };
            RichText::new(format!("{word}{margin}   {}", told.name)).color(ink)
        }
    }
}

fn detail(told: &Told) -> String {
    match &told.judgement {
        Some(judgement) if !judgement.decided_by.is_empty() => {
            format!("worst at {:.3} s: {}", judgement.at_s, judgement.decided_by)
        }
        _ => told.that.clone(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use trimproof_formula::Tested;
    use trimproof_harness::judge::Judgement;

    fn told(held: Option<bool>) -> Told {
        Told {
            name: "a".to_owned(),
            that: String::new(),
            because: None,
            windows_s: Vec::new(),
            signals: Vec::new(),
            judgement: held.map(|held| Judgement {
                name: "a".to_owned(),
                that: String::new(),
                because: None,
                held,
                margin: 0.0,
                unit: String::new(),
                at_s: 0.0,
                decided_by: String::new(),
                undefined: false,
                share: None,
                equality: false,
                tested: Tested::Yes,
            }),
        }
    }

    #[test]
    fn the_broken_are_gone_through_in_a_ring() {
        let all = [Some(true), Some(false), None, Some(false), Some(true)].map(told);
        assert_eq!(next_broken(&all, None, false), Some(1));
        assert_eq!(next_broken(&all, Some(1), false), Some(3));
        assert_eq!(next_broken(&all, Some(3), false), Some(1));
        assert_eq!(next_broken(&all, Some(3), true), Some(1));
        assert_eq!(next_broken(&all, Some(1), true), Some(3));
        assert_eq!(next_broken(&all[..1], None, false), None);
        assert_eq!(order(&all), [1, 3, 0, 2, 4]);
    }
}

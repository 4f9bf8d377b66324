//! The expectations: what held, by how much, what broke; a click goes there.

use bevy_egui::egui::{self, RichText, ScrollArea, Ui};
use trimproof_harness::card::text;

use super::Desk;
use crate::look::colour;
use crate::story::{Clock, ExpectationView, SourceState, Story};

/// Most broken expectations that a picture names.
const MOST_NAMED: usize = 2;

/// Draws the list.
pub(super) fn show(ui: &mut Ui, story: &Story, clock: &mut Clock, desk: &mut Desk) {
    ui.horizontal(|ui| {
        ui.label(RichText::new("expectations").strong());
        if desk.chosen.is_some() && ui.button("show all again").on_hover_text("Esc").clicked() {
            desk.forget();
        }
    });
    if let Some(view) = desk.chosen.and_then(|index| story.expectations.get(index)) {
        ui.label(RichText::new(detail(view)).small());
    }
    ScrollArea::vertical()
        .id_salt("expectations")
        .auto_shrink([false, false])
        .show(ui, |ui| {
            for index in order(&story.expectations) {
                let view = &story.expectations[index];
                let chosen = desk.chosen == Some(index);
                let response =
                    ui.add(egui::Button::selectable(chosen, line(view, is_over(story))).truncate());
                let mut more = view.formula.clone();
                if let Some(because) = &view.because {
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
    if let Some(view) = desk.chosen.and_then(|index| story.expectations.get(index)) {
        ui.label(line(view, is_over(story)).strong());
        ui.label(RichText::new(detail(view)).small());
        ui.separator();
        return;
    }
    let broken = story.expectations.iter().filter(|view| view.is_broken());
    for view in broken.take(MOST_NAMED) {
        ui.add(egui::Label::new(line(view, true)).truncate());
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
pub(super) fn next_broken(
    views: &[ExpectationView],
    from: Option<usize>,
    back: bool,
) -> Option<usize> {
    let mut broken: Vec<usize> = (0..views.len())
        .filter(|index| views[*index].is_broken())
        .collect();
    if back {
        broken.reverse();
    }
    let beyond =
        |index: &&usize| from.is_none_or(|from| if back { **index < from } else { **index > from });
    broken.iter().find(beyond).or(broken.first()).copied()
}

/// The broken first, else as in the file.
fn order(views: &[ExpectationView]) -> Vec<usize> {
    let mut order: Vec<usize> = (0..views.len()).collect();
    order.sort_by_key(|index| !views[*index].is_broken());
    order
}

/// Nothing more will come: what is not judged now will not be.
fn is_over(story: &Story) -> bool {
    !matches!(story.source, SourceState::Reading | SourceState::Running)
}

fn line(view: &ExpectationView, is_over: bool) -> RichText {
    match &view.judgement {
        None => {
            let word = if is_over { "not judged" } else { "to come" };
            RichText::new(format!("{word}   {}", view.name)).color(colour::SOFT_INK)
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
            RichText::new(format!("{word}{margin}   {}", view.name)).color(ink)
        }
    }
}

fn detail(view: &ExpectationView) -> String {
    match &view.judgement {
        Some(judgement) if !judgement.decided_by.is_empty() => {
            format!("worst at {:.3} s: {}", judgement.at_s, judgement.decided_by)
        }
        _ => view.formula.clone(),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use trimproof_formula::Tested;
    use trimproof_harness::judge::Judgement;

    fn view(held: Option<bool>) -> ExpectationView {
        ExpectationView {
            name: "a".to_owned(),
            formula: String::new(),
            because: None,
            windows_s: Vec::new(),
            signals: Vec::new(),
            judgement: held.map(|held| Judgement {
                name: "a".to_owned(),
                formula: String::new(),
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
        let all = [Some(true), Some(false), None, Some(false), Some(true)].map(view);
        assert_eq!(next_broken(&all, None, false), Some(1));
        assert_eq!(next_broken(&all, Some(1), false), Some(3));
        assert_eq!(next_broken(&all, Some(3), false), Some(1));
        assert_eq!(next_broken(&all, Some(3), true), Some(1));
        assert_eq!(next_broken(&all, Some(1), true), Some(3));
        assert_eq!(next_broken(&all[..1], None, false), None);
        assert_eq!(order(&all), [1, 3, 0, 2, 4]);
    }
}

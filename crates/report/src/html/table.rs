//! Tables whose rows stand as stacks of labelled cells where the screen is narrow.

use maud::{Markup, Render, html};

use crate::text::UNKNOWN;

/// How the cells of a column stand.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub(super) enum Stands {
    /// A figure, at the right.
    Right,
    /// Words, at the left.
    Left,
    /// Words that take the whole width of a stack.
    Whole,
}

/// A column of a table.
#[derive(Clone, Copy, Debug)]
pub(super) struct Column {
    /// Its head, and the label of its cells in a stack.
    pub(super) head: &'static str,
    /// How its cells stand.
    pub(super) stands: Stands,
}

impl Column {
    /// A column of figures.
    pub(super) const fn right(head: &'static str) -> Self {
        Self { head, stands: Stands::Right }
    }

    /// A column of words.
    pub(super) const fn left(head: &'static str) -> Self {
        Self { head, stands: Stands::Left }
    }

    /// A column of sentences.
    pub(super) const fn whole(head: &'static str) -> Self {
        Self { head, stands: Stands::Whole }
    }

    const fn class(self) -> Option<&'static str> {
        match self.stands {
            Stands::Right => None,
            Stands::Left => Some("left"),
            Stands::Whole => Some("left whole"),
        }
    }

    /// A cell with a figure or word, left out of a stack where it is not known.
    pub(super) fn cell(self, text: &str) -> Markup {
        let class = [self.class(), (text == UNKNOWN).then_some("none")];
        let class: Vec<&str> = class.into_iter().flatten().collect();
        html! { td class=[Some(class.join(" ")).filter(|class| !class.is_empty())] data-label=(self.head) { (text) } }
    }

    /// A cell with anything in it.
    pub(super) fn holding(self, content: impl Render) -> Markup {
        html! { td class=[self.class()] data-label=(self.head) { (content) } }
    }
}

/// A table under the heading with the id `name`. `first` is the head of the names of its rows.
pub(super) fn table(name: &str, first: &str, columns: &[Column], rows: impl Render) -> Markup {
    html! {
        div.scroll tabindex="0" role="group" aria-labelledby=(name) {
            table.stacked {
                thead { tr {
                    th scope="col" { (first) }
                    @for column in columns { th scope="col" class=[column.class()] { (column.head) } }
                } }
                tbody { (rows) }
            }
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_cell_bears_the_head_of_its_column() {
        let column = Column::right("Pain");
        assert_eq!(column.cell("4").into_string(), r#"<td data-label="Pain">4</td>"#);
        assert_eq!(column.cell(UNKNOWN).into_string(), r#"<td class="none" data-label="Pain">–</td>"#);
        let page = table("x", "Date", &[column, Column::whole("Note")], html! {}).into_string();
        assert!(
            page.contains(r#"<th scope="col">Pain</th><th scope="col" class="left whole">Note</th>"#),
            "{page}"
        );
    }
}

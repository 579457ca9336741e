//! The guide on pages, open to anybody: it is the text that comes with the program.

use askama::Template;
use axum::Router;
use axum::extract::Path;
use axum::response::IntoResponse;
use axum::routing::get;
use pulldown_cmark::{Event, Options, Parser, Tag, TagEnd, html};

use super::error::{PageError, PageResult};
use super::frame::{Frame, Page};
use super::state::AppState;
use super::visitor::Anyone;
use crate::guide::{TOPICS, Topic, topic};

pub fn routes() -> Router<AppState> {
    Router::new()
        .route("/guide", get(index))
        .route("/guide/{topic}", get(page))
}

#[derive(Template)]
#[template(path = "guide.html")]
struct GuidePage {
    frame: Frame,
    topics: &'static [Topic],
    /// Made of a text of our own; empty on the page that lists them.
    html: String,
}

async fn index(anyone: Anyone) -> Page<GuidePage> {
    Page(GuidePage {
        frame: anyone.frame("Guide"),
        topics: TOPICS,
        html: String::new(),
    })
}

async fn page(anyone: Anyone, Path(name): Path<String>) -> PageResult<impl IntoResponse> {
    let topic = topic(&name).ok_or_else(PageError::not_found)?;
    Ok(Page(GuidePage {
        frame: anyone.frame(topic.title),
        topics: TOPICS,
        html: rendered(topic),
    }))
}

/// Tables scroll by themselves where they are wide.
fn rendered(topic: &Topic) -> String {
    let parser = Parser::new_ext(topic.text, Options::ENABLE_TABLES);
    let mut tables = 0_usize;
    let wide = |event| match event {
        Event::Start(Tag::Table(columns)) => {
            tables = tables.saturating_add(1);
            let open = format!(
                "<div class=\"scroll\" tabindex=\"0\" role=\"region\" aria-label=\"Table {tables}\">"
            );
            vec![Event::Html(open.into()), Event::Start(Tag::Table(columns))]
        }
        Event::End(TagEnd::Table) => {
            vec![Event::End(TagEnd::Table), Event::Html("</div>".into())]
        }
        Event::Start(Tag::CodeBlock(_)) => {
            vec![Event::Html("<pre tabindex=\"0\"><code>".into())]
        }
        Event::End(TagEnd::CodeBlock) => vec![Event::Html("</code></pre>".into())],
        other => vec![other],
    };
    let mut text = String::new();
    html::push_html(&mut text, parser.flat_map(wide));
    text.replace("<table>", "<table class=\"data\">")
}

// The command line. CLI11 is slow to compile, so it stands in this file alone.
#include <algorithm>
#include <map>
#include <thread>

#include <unistd.h>

#include <CLI/CLI.hpp>
#include <fmt/format.h>

#include "base/words.h"
#include "cli/options.h"
#include "release/version.h"

namespace bindery {

namespace {

const std::vector<std::string> nouns = {"machines", "materials", "processes", "profiles", "sets", "settings", "rules", "diagnostics"};

struct Parser {
  CLI::App app{"Compiles a tree of machine, material and process fragments into checked profiles and release archives."};
  std::map<std::string, CLI::App*> commands;
  std::string colour = "auto", folder = ".", at, version, out = "out";
  unsigned jobs = std::max(1u, std::thread::hardware_concurrency());
  std::string first, second;

  CLI::App* command(const std::string& name, const std::string& about) {
    CLI::App* sub = app.add_subcommand(name, about);
    sub->fallthrough();
    commands[name] = sub;
    return sub;
  }

  explicit Parser(Options& options) {
    app.name("bindery");
    app.set_version_flag("--version", tool_version());
    app.require_subcommand(0, 1);
    app.add_option("-C", folder, "work in this folder instead of the present one")->type_name("DIR");
    app.add_option("-j", jobs, "how many cores to use")->type_name("N")->check(CLI::Range(1u, 1024u));
    app.add_option("--color", colour, "colours on stderr: auto, always or never")->type_name("WHEN")->check(CLI::IsMember({"auto", "always", "never"}));

    auto format = [&](CLI::App* sub, std::set<std::string> known, const std::string& standard) {
      sub->add_option("--format", options.format, fmt::format("one of {} ({} if absent)", fmt::join(known, ", "), standard))->type_name("FORMAT")->check(CLI::IsMember(known));
    };
    CLI::App* validate = command("validate", "check the whole tree and every profile of its sets");
    validate->add_flag("--strict", options.strict, "warnings count as errors");
    format(validate, {"text", "json"}, "text");

    CLI::App* list = command("list", fmt::format("list {}", join_words(nouns, "or")));
    list->add_option("what", first, fmt::format("one of {}", join_words(nouns, "or")))->required()->type_name("WHAT");
    format(list, {"text", "json"}, "text");

    CLI::App* show = command("show", "print one profile with the source of each value");
    show->add_option("profile", first, "machine/material/process")->required()->type_name("PROFILE");
    show->add_option("--at", at, "read the tree at this tag, branch or commit")->type_name("REV");
    format(show, {"text", "json"}, "text");

    CLI::App* why = command("why", "tell the story of one value of a profile");
    why->add_option("profile", first, "machine/material/process")->required()->type_name("PROFILE");
    why->add_option("setting", second, "a key; see `list settings`")->required()->type_name("SETTING");

    CLI::App* compare = command("compare", "print what differs between two profiles");
    compare->add_option("left", first, "machine/material/process")->required()->type_name("PROFILE");
    compare->add_option("right", second, "machine/material/process")->required()->type_name("PROFILE");
    format(compare, {"text", "json"}, "text");

    CLI::App* build = command("build", "build the release archives");
    build->add_option("--version", version, "the version, after SemVer 2.0.0; without it a snapshot is built")->type_name("V");
    build->add_option("--at", at, "build this tag, branch or commit")->type_name("REV");
    build->add_option("--out", out, "where releases go (out/ below the tree's root if absent)")->type_name("DIR");

    CLI::App* verify = command("verify", "check a release: an archive, a tier's folder, or a version's folder");
    verify->add_option("path", first, "what to check")->required()->type_name("PATH");
    format(verify, {"text", "json"}, "text");

    CLI::App* schema = command("schema", "print the dictionary for editors or readers");
    format(schema, {"json-schema", "markdown"}, "json-schema");
  }

  // A word in the command's place that is none.
  std::string misspelt(int count, char** arguments) const {
    std::vector<std::string_view> names;
    for (const auto& [name, sub] : commands) names.push_back(name);
    for (int i = 1; i < count; ++i) {
      std::string_view word = arguments[i];
      if (word == "-C" || word == "-j" || word == "--color") ++i;
      else if (!word.starts_with('-')) {
        if (commands.contains(std::string(word))) return {};
        std::string near = nearest(word, names);
        return fmt::format("error: unknown command '{}'\n  help: {}\n", word, near.empty() ? fmt::format("commands are {}", join_words({names.begin(), names.end()})) : fmt::format("did you mean '{}'", near));
      }
    }
    return {};
  }
};

bool wants_colour(const std::string& when) {
  if (when != "auto") return when == "always";
  const char* refused = std::getenv("NO_COLOR");  // no-color.org
  return (refused == nullptr || *refused == '\0') && isatty(STDERR_FILENO) != 0;
}

Exit mistake(const std::string& message) {
  fmt::print(stderr, "{}", message);
  return Exit::usage;
}

}  // namespace

std::optional<Exit> parse_options(int count, char** arguments, Options& options) {
  Parser parser(options);
  if (std::string wrong = parser.misspelt(count, arguments); !wrong.empty()) return mistake(wrong);
  try {
    parser.app.parse(count, arguments);
  } catch (const CLI::Success& asked) {
    parser.app.exit(asked);
    return Exit::done;
  } catch (const CLI::ParseError& error) {
    return mistake(fmt::format("error: {}\n  help: see `bindery --help`, or `bindery COMMAND --help`\n", error.what()));
  }
  for (const auto& [name, sub] : parser.commands) {
    if (sub->parsed()) options.command = name;
  }
  if (options.command.empty()) {
    fmt::print(stderr, "{}", parser.app.help());
    return Exit::usage;
  }
  if (options.command == "list" && std::find(nouns.begin(), nouns.end(), parser.first) == nouns.end()) {
    std::string near = nearest(parser.first, {nouns.begin(), nouns.end()});
    return mistake(fmt::format("error: there is no list of '{}'\n  help: {}\n", parser.first, near.empty() ? fmt::format("lists are {}", join_words(nouns)) : fmt::format("did you mean '{}'", near)));
  }
  if (options.command == "schema" && options.format == "text") options.format = "json-schema";
  options.colour = wants_colour(parser.colour);
  options.folder = parser.folder;
  options.jobs = parser.jobs;
  options.words = {parser.first, parser.second};
  if (!parser.at.empty()) options.at = parser.at;
  CLI::App* build = parser.commands.at("build");
  if (build->count("--version") > 0) options.version = parser.version;
  if (build->count("--out") > 0) options.out = parser.out;
  else options.out.clear();
  return std::nullopt;
}

}  // namespace bindery

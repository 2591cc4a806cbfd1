"""The commands in groups, in the order in which a newcomer needs them."""

import click

GROUPS = {
    "Plan": {
        "plan": "A part in its tank: current, voltage, time, turning.",
        "page": "The same in a browser, on this machine alone.",
        "new": "Write a job file, from a few questions.",
        "poses": "How should it hang? Weigh the ways.",
        "batch": "Plan every job of a folder, into one table.",
        "area": "A part alone: area, features, repairs, trapped air.",
    },
    "Look up": {
        "baths": "The baths, and every figure with its source.",
        "specs": "Thicknesses that standards ask for.",
    },
    "At the bench": {
        "log": "Note what was done, and hold it against the plan.",
        "calibrate": "Fit a bath to readings of your own.",
    },
    "Shell": {"completion": "The script that completes commands and options."},
}
"""Every command, with a line that is not cut off at 80 columns."""


class Groups(click.Group):
    """A group of commands whose help lists them by what they are for."""

    def format_commands(self, ctx: click.Context, formatter: click.HelpFormatter) -> None:
        """Write a section for each group; one in no group comes last, by its own words."""
        left = {name: command.get_short_help_str() for name, command in sorted(self.commands.items())}
        sections = {
            title: {name: words for name, words in rows.items() if name in left} for title, rows in GROUPS.items()
        }
        for rows in sections.values():
            for name in rows:
                del left[name]
        wide = max(len(name) for name in self.commands)
        for title, rows in {**sections, "More": left}.items():
            if rows:
                with formatter.section(title):
                    formatter.write_dl([(name.ljust(wide), words) for name, words in rows.items()])

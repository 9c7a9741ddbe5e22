"""Write the demos and their truth again: python -m tests.simulate.write_demo [NAME...]"""

import shutil
import sys
from collections.abc import Callable
from pathlib import Path

from sitegen.model.simulated import SimulatedCampaign
from sitegen.publish.campaign_folder import truth_folder, write_campaign
from sitegen.simulate import demo_campaign, followed_campaign

FOLDER = Path(__file__).resolve().parents[2] / "campaigns_demo"
DEMO, FOLLOWED = FOLDER / "lark-7", FOLDER / "teasel-4"
CAMPAIGNS: dict[str, Callable[[], SimulatedCampaign]] = {
    "lark-7": demo_campaign,
    "teasel-4": followed_campaign,
}


def main(names: list[str]) -> None:
    """Write beside the old folders, then put the new ones in their place."""
    for name in names or CAMPAIGNS:
        folder = FOLDER / name
        fresh = write_campaign(CAMPAIGNS[name](), FOLDER / f"{name}-new")
        for old, new in ((folder, fresh), (truth_folder(folder), truth_folder(fresh))):
            if old.exists():
                shutil.rmtree(old)
            new.rename(old)
        print(f"Written: {folder}")


if __name__ == "__main__":
    main(sys.argv[1:])

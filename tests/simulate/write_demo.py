"""Write campaigns_demo/lark-7 and its truth again: python tests/simulate/write_demo.py"""

import shutil
from pathlib import Path

from sitegen.publish.campaign_folder import truth_folder, write_campaign
from sitegen.simulate import demo_campaign

DEMO = Path(__file__).resolve().parents[2] / "campaigns_demo" / "lark-7"


def main() -> None:
    """Write beside the old folders, then put the new ones in their place."""
    fresh = write_campaign(demo_campaign(), DEMO.with_name("lark-7-new"))
    for old, new in ((DEMO, fresh), (truth_folder(DEMO), truth_folder(fresh))):
        if old.exists():
            shutil.rmtree(old)
        new.rename(old)
    print(f"Written: {DEMO}")


if __name__ == "__main__":
    main()

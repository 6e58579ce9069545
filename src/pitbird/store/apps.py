"""The store as a Django app."""

from django.apps import AppConfig


class StoreConfig(AppConfig):
    """Holds the tables; the triggers that refuse change are put back after every migration."""

    name = "pitbird.store"
    label = "store"

    def ready(self) -> None:
        from django.db.models.signals import post_migrate

        from pitbird.store.guards import put_back

        post_migrate.connect(put_back, sender=self, dispatch_uid="pitbird.store.guards")

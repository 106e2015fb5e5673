"""The history of the tables. ``service.store.migrating`` runs it.

Write a new step (then read it before use) by comparing the tables with a database at the newest step::

    from sqlalchemy import create_engine
    from service.store.migrating import revise, upgrade

    with create_engine("sqlite://").begin() as connection:
        upgrade(connection)
        revise(connection, "what changes")
"""
